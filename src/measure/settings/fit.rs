//! Settings of the fit of the whole model to one star.

use super::settings;
use crate::predict::ORDINARY_SEEING_RAD;
use crate::propagation::Accuracy;
use crate::units::{ARCSEC, NM, UM};

/// How a fit with few wavelengths goes, as long as the minimum is not near.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pace {
    /// Sets of derivatives, at most.
    pub linearisations: usize,
    /// Share of a pixel's light by which the model is taken to be off: far from the minimum, bright pixels must not decide alone.
    pub model_error_share: f64,
}

settings! {
    /// How the whole model is fitted.
    FitSettings {
        /// Sampling of frames through atmosphere. Measured: they differ from finely sampled ones by less than 1e-3 (relative L2;
        /// `measure::fit::view::tests::coarse_frames_are_close`). Finer: slower. Coarser: errors of the sampling in the modes.
        accuracy: Accuracy = Accuracy {
            oversize: 1.15,
            oversize_slotted: 1.6,
            sub_sampling: 0.55,
            wavelengths_per_cycle: 1.0,
            guard_widths: 2.5,
            blur_sampling: 0.4,
        },
        /// The same behind slots, for the last stage: the sharp spikes of 10^6 electrons ask for more. Measured by the same test.
        /// Finer: slower. Coarser: errors of the sampling in the modes.
        accuracy_slotted: Accuracy = Accuracy {
            oversize: 1.15,
            oversize_slotted: 2.6,
            sub_sampling: 0.9,
            wavelengths_per_cycle: 1.0,
            guard_widths: 4.0,
            blur_sampling: 0.7,
        },
        /// Memory of a trial star, GiB: so much, and so much more for each pixel of the cut-out; a trial that needs more is worse than any. Set
        /// by hand: an ordinary ring needs less than a tenth of it, and one with wild modes more (`a_trial_star_stays_small`). Larger: slow and hungry where nothing fits. Smaller: large rings are refused.
        trial_gib: [f64; 2] = [0.25, 6e-6],
        /// A trial star takes no more than so many times the memory of the first one of its fit, and may always take so much, GiB. Set by
        /// hand. Larger: fits that run away take long. Smaller: a start that is far too small is not left.
        trial_grows: (f64, f64) = (8.0, 0.03),
        /// Wavelengths of a frame, at most, where the instrument does not state how many. Set by hand. More: slower. Fewer: the rings of
        /// a narrow-band star stay sharp in the model.
        wavelengths_at_most: usize = 9,
        /// Wavelengths of a frame and of its derivatives far from the minimum, without slots. Set by hand. More: slower. Fewer: more
        /// steps.
        coarse_wavelengths: [usize; 2] = [3, 1],
        /// The same behind slots, whose spikes are spectra. Set by hand. More: slower. Fewer: the spikes fall apart into single colours.
        coarse_wavelengths_slotted: [usize; 2] = [7, 3],
        /// Wavelengths of the derivatives near the minimum, without slots and behind them; the frame has all of its own. Set by hand.
        /// More: slower. Fewer: more steps, and σ is less exact.
        fine_slope_wavelengths: [usize; 2] = [2, 5],
        /// From a first guess. Set by hand, as the next three. More sets of derivatives: slower; fewer: starts are compared before they
        /// are near a minimum. A larger model error: bright pixels hardly count; smaller: they decide alone, in false minima.
        far: Pace = Pace { linearisations: 8, model_error_share: 0.1 },
        /// From a guess nearby. Larger and smaller: as for `far`.
        start: Pace = Pace { linearisations: 5, model_error_share: 0.1 },
        /// A look at another guess. Larger and smaller: as for `far`.
        attempt: Pace = Pace { linearisations: 3, model_error_share: 0.1 },
        /// Between two minima that are both near, which a large model error would make alike. Larger and smaller: as for `far`.
        near: Pace = Pace { linearisations: 3, model_error_share: 0.02 },
        /// A residual beyond this many typical ones is not chance, and its pixel is left out. Set by hand. Larger: hot pixels draw the
        /// fit. Smaller: good pixels are left out, and σ is too small.
        outlier_sigma: f64 = 6.0,
        /// But where more than this share of the pixels stands out the model is wrong, and none is left out. Set by hand. Larger: what
        /// the model does not explain is thrown away. Smaller: hot pixels stay.
        outlier_share_at_most: f64 = 0.005,
        /// This many pixels may always be left out; it matters for small cut-outs. Set by hand. Larger: a small star's own pixels are left
        /// out. Smaller: hot pixels stay in small cut-outs.
        outliers_always_allowed_px: f64 = 3.0,
        /// Far from the minimum a single pixel is left out when its residual lies this many typical ones out … Set by hand. Larger: hot
        /// pixels draw the first fit. Smaller: the misfit of a star is taken for hot pixels.
        lone_pixel_sigma: f64 = 15.0,
        /// … and is this many times as large as the largest of its eight neighbours'. Set by hand. Larger: hot pixels
        /// on a misfit stay. Smaller: the misfit of a star is taken for hot pixels.
        lone_pixel_factor: f64 = 4.0,
        /// A pixel is dark where the variance of the star's photons is less than this share of the background's. Set by hand. Larger: the
        /// star's own misfit counts as noise of the sky. Smaller: few dark pixels are left.
        dark_share: f64 = 0.2,
        /// The noise of dark pixels is set to their own scatter where there are at least this many. Set by hand: the variance of 150
        /// values is known to a ninth. Larger: small cut-outs keep the frame's noise. Smaller: the scatter is chance.
        dark_px_at_least: usize = 150,
        /// The variance of dark pixels is changed by factors in this range only. Set by hand. Wider: the star's misfit far out
        /// becomes noise. Narrower: a patchy sky is called a wrong model.
        dark_variance_factor: [f64; 2] = [0.25, 4.0],
        /// Beyond this χ² per degree of freedom the model itself is taken to be off by a share of the light (`model_error`). Set by
        /// hand. Larger: σ is too small where dimensions are slightly wrong. Smaller: chance is called a wrong model.
        model_error_from_chi_square: f64 = 1.15,
        /// Light counts as unexplained when its sum of squares exceeds that of noise by this many of its own standard deviations. Set
        /// by hand. Larger: small misfits are not told. Smaller: noise is called a misfit.
        unexplained_from_sigma: f64 = 4.0,
        /// Something that was typed or assumed is freed where that would let the sum of squares fall by more than chance does at this many
        /// standard deviations of a normal law, for its number of unknowns (Wilson and Hilferty's law). Derived: with the seven of Noll 12 to
        /// 17 and 22 that is a fall of 25, which chance makes in about one star of a thousand (`tests/measuring/verb.rs`,
        /// `aberrations_beyond_spherical_are_found`). Larger: secondary coma and an obstruction aside are taken for coma. Smaller: unknowns cost
        /// certainty where nothing differs.
        asked_from_sigma: f64 = 3.147,
        /// What is dear to ask, and everything behind a mask, is asked where the residuals as a whole exceed chance by this many of its standard
        /// deviations. Set by hand. Larger: what is wrong is told less often. Smaller: stars that are as typed take longer.
        asked_more_from_sigma: f64 = 4.0,
        /// So often it is asked, and something freed, at most. Set by hand: several things differ at once. Larger: slower where nothing
        /// helps enough. Smaller: the third thing that differs is not found.
        asked_rounds: usize = 4,
        /// A second star is not looked for nearer than this, pixels: there it is a blur. Set by hand. Larger: close companions are not found.
        /// Smaller: what the model of the atmosphere does not explain is taken for a star.
        neighbour_px_at_least: f64 = 2.5,
        /// Nor one of less light than this, as a share of the first one's. Set by hand. Larger: faint companions are not found. Smaller: what
        /// the model does not explain is taken for a star.
        neighbour_share_at_least: f64 = 0.01,
        /// Where the model is wrong, σ is as large as the disagreement of tiles says, so many of them along the picture. Set by hand: a tile
        /// is larger than a patch of residuals of one sign, and there are more tiles than unknowns. Larger: σ is too small. Smaller: σ is
        /// chance.
        tiles_along: usize = 12,
        /// What is believed of the unknowns beforehand, and the limits they never leave.
        prior: PriorSettings = PriorSettings::default(),
    }
}

settings! {
    /// What is believed of the unknowns before the frame is looked at, each a normal law about the expected value, and the limits
    /// that a fit never leaves. Narrower widths pull the answer towards the expected value; wider ones leave unknowns open that
    /// the frame does not tell.
    PriorSettings {
        /// Width of a free mode about the design's. Set by hand, wide enough not to be felt. Larger: nothing changes. Smaller: large
        /// coma comes out too small.
        mode_m: f64 = 1500.0 * NM,
        /// Width of a mode of higher order (Noll 12 to 17 and 22) about the design's. Set by hand: what polished surfaces leave.
        /// Larger: they take up what is coma's. Smaller: they are not found.
        higher_order_m: f64 = 30.0 * NM,
        /// Seeing (FWHM at the zenith and 500 nm) that a fit starts from and expects. Common practice, no source.
        /// Larger and smaller: sharp or blurred stars start farther from their seeing; where the frame tells the seeing, the answer is the same.
        seeing_rad: f64 = ORDINARY_SEEING_RAD,
        /// Width of the natural logarithm of the seeing: 1.1 is a factor of three either way. Set by hand. Larger: a wide
        /// doughnut may be given any blur. Smaller: unusual seeing is pulled towards the expected one.
        seeing_ln: f64 = 1.1,
        /// Width of the obstruction's diameter, as a share of what was typed. Set by hand: owners measure theirs to a millimetre
        /// or two. Larger: it takes up spherical aberration. Smaller: a size typed slightly wrong is taken for aberration.
        obstruction_size_share: f64 = 0.03,
        /// Width of the obstruction's place along either axis, as a share of the aperture; free in pairs of frames only. Set
        /// by hand. Larger: it takes up coma. Smaller: an obstruction that sits aside is taken for coma.
        obstruction_aside_share: f64 = 0.02,
        /// Width of the mask's turn against what was typed. Set by hand: about three degrees by eye. Larger: it takes up astigmatism.
        /// Smaller: a mask put on slightly turned is taken for astigmatism.
        mask_turn_rad: f64 = 0.05,
        /// Width of the camera's turn against where the shadows of a doughnut put it; free where the orientation is not known. Set by
        /// hand: shadows are read to a degree or two. Larger: weak shadows wander. Smaller: shadows stay beside their place.
        camera_turn_rad: f64 = 0.05,
        /// Width of the focal length, as a share of what was typed. Set by hand: correctors and reducers change it by per cents.
        /// Larger: it takes up focus of masked stars. Smaller: a focal length typed slightly wrong is taken for focus.
        focal_length_share: f64 = 0.03,
        /// Width of the slots' open share, as a share of what was typed. Set by hand: printed plastic spreads by tenths of a millimetre.
        /// Larger: it takes up the colours of spikes. Smaller: narrow slots make a poor fit.
        slot_width_share: f64 = 0.1,
        /// Width of a vane's azimuth. Set by hand: about six degrees by eye. Larger: it wanders to other shadows. Smaller: a vane that
        /// stands elsewhere makes a poor fit.
        vane_turn_rad: f64 = 0.1,
        /// Width of a vane's width, as a share of what was typed. Set by hand: vanes are typed that are not there. Larger: it takes up noise.
        /// Smaller: a missing vane makes a poor fit.
        vane_width_share: f64 = 0.7,
        /// Width of the depth of an edge that cuts into the beam, as a share of the aperture. Set by hand. Larger: it takes up coma. Smaller:
        /// a beam cut on one side is taken for coma.
        cut_share: f64 = 0.03,
        /// Width of a strip that was not typed, as a share of the aperture; it is looked for with this one. Set by hand: vanes and cables of
        /// usual telescopes. Larger: broad misfits are taken for a vane. Smaller: a broad one is not found.
        strip_share: f64 = 0.02,
        /// Width of the drift during an exposure along an axis, pixels. Set by hand: what a mount that follows leaves. Larger: it takes up
        /// astigmatism. Smaller: a trailed star is taken for aberration.
        drift_px: f64 = 3.0,
        /// Width of a second star's light, as a share of the first one's. Set by hand, wide enough not to be felt by a companion of some per
        /// cent. Larger: nothing changes. Smaller: a bright companion comes out too faint.
        neighbour_share: f64 = 0.5,
        /// A second star is never brighter than this many times the first. Set by hand: the brighter one is the first. Larger: the two
        /// change places. Smaller: a pair of equal stars is not fitted.
        neighbour_share_at_most: f64 = 1.5,
        /// Seeing never leaves this range. Set by hand. Wider: a fit may blur a wrong star away. Narrower: shaken stars are not fitted.
        seeing_range_rad: [f64; 2] = [0.15 * ARCSEC, 20.0 * ARCSEC],
        /// No mode ever exceeds this. Set by hand. Larger: wild steps cost memory. Smaller: very large coma is not reached.
        mode_m_at_most: f64 = 4000.0 * NM,
        /// A sensor offset never exceeds twice the start's and this. Set by hand. Larger: wild steps cost memory. Smaller: a wrong start
        /// near focus is not left.
        offset_room_m: f64 = 100.0 * UM,
        /// Nor ever this. Set by hand. Larger: wild steps cost memory. Smaller: wide doughnuts of slow telescopes are not reached.
        offset_m_at_most: f64 = 20e-3,
        /// A dimension never leaves this many widths of its prior. Set by hand. Larger: the model may become impossible. Smaller: a
        /// dimension typed badly wrong is not told by the residuals.
        dimension_room_widths: f64 = 5.0,
        /// A star's place never leaves the cut-out by more than this. Set by hand. Larger: wild steps lose the star. Smaller: a star with
        /// much tilt, whose light lies aside of its place, is not reached.
        place_room_px: f64 = 10.0,
    }
}

impl FitSettings {
    /// Memory that a trial star may take where its cut-out has so many pixels and the first trial took so much, GiB; 0: it is the first.
    pub fn memory_gib(&self, pixels: usize, first_gib: f64) -> f64 {
        let [least, each] = self.trial_gib;
        let most = (least + each * pixels as f64).min(6.0);
        let (times, always) = self.trial_grows;
        match first_gib > 0.0 {
            true => most.min((times * first_gib).max(always)),
            false => most,
        }
    }
}
