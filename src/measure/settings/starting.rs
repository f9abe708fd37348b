//! Settings of where fits start: doughnuts from their edges, masked stars from their spikes.

use super::settings;
use crate::units::{DEG, NM, UM};

/// Another guess of coma than the edges of a doughnut say.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OtherComa {
    /// Its size over that of the edges' guess.
    pub size_factor: f64,
    /// Its direction from that of the edges' guess, counter-clockwise in pupil axes.
    pub turn_rad: f64,
}

settings! {
    /// Where the fit of a doughnut starts, and what decides on which side of focus it is.
    DoughnutSettings {
        /// A start whose mean squared residual per pixel is below this is good; others are tried only beyond. Set by hand
        /// (`tests/measuring.rs`, `a_large_coma_is_captured_without_a_guess`). Larger: false minima are believed. Smaller: every
        /// start is tried, slower.
        good_start_per_px: f64 = 1.5,
        /// Other guesses of coma that are tried where the edges' guess is not good. Set by hand (same test). Larger: more of them,
        /// slower. Smaller: with none, folded rings end in false minima.
        other_comas: [OtherComa; 4] = [
            OtherComa { size_factor: 1.0, turn_rad: 35.0 * DEG },
            OtherComa { size_factor: 1.0, turn_rad: -35.0 * DEG },
            OtherComa { size_factor: 0.6, turn_rad: 0.0 },
            OtherComa { size_factor: 1.5, turn_rad: 0.0 },
        ],
        /// Of the two sides of focus one is believed when the other one's sum of squared residuals is larger by this, in units of the
        /// better fit's χ² per degree of freedom: 25 is five standard deviations. Set by hand (`tests/measuring/verb.rs`,
        /// `only_vanes_that_half_a_turn_moves_tell_the_side`). Larger: the side stays open (`even_sign_open`). Smaller: chance
        /// tells the side, and astigmatism has the wrong sign.
        other_side_chi_square: f64 = 25.0,
        /// Of a pair of frames the side is believed when the other side's sum of squares is this many times as large. Set by hand.
        /// Larger: the side stays open. Smaller: chance tells the side.
        other_side_of_pair_factor: f64 = 1.2,
    }
}

settings! {
    /// How the spikes of a masked star are read.
    SpikeSettings {
        /// Half width of a window across a spike, in widths of the spike by diffraction and by seeing added in squares. Set by hand.
        /// Larger: neighbours come in. Smaller: a shifted spike leaves its window.
        window_widths: f64 = 1.5,
        /// The widest part of a window has at least this half width; it matters for sharp spikes. Set by hand. Larger: neighbours come in.
        /// Smaller: a shifted spike leaves its window.
        widest_half_px_at_least: f64 = 3.0,
        /// A window has at least this half width everywhere, also close to the star. Set by hand. Larger: neighbours come in near the star.
        /// Smaller: single pixels decide there.
        half_px_at_least: f64 = 1.5,
        /// A window takes this share of the way to the nearest other spike. Set by hand. Larger: neighbours come in. Smaller: less light.
        way_to_neighbour_share: f64 = 0.6,
        /// A spike is read when its centroid moves by at least this share of a shift. Set by hand. Larger: spikes in a crowd are not
        /// read. Smaller: what is read are mainly neighbours, multiplied.
        centroid_per_shift_at_least: f64 = 0.15,
        /// Regions whose slots run alike within this angle share a spike. Set by hand. Larger: spikes of different directions are
        /// taken as one. Smaller: one spike is read twice.
        same_direction_rad: f64 = 1.0 * DEG,
        /// No spike is believed better than this, whatever its photons: windows are not perfect. Set by hand. Larger: the brightest
        /// spikes lose their weight. Smaller: the slope equations follow the windows' errors.
        sigma_px_at_least: f64 = 0.03,
        /// A mode is asked for in the slope equations when 100 nm RMS of it move some spike by this. Set by hand. Larger: fewer modes
        /// are told. Smaller: modes that the mask hardly sees are told with large errors.
        shift_px_at_least: f64 = 0.1,
        /// Modes are dropped, the least seen first, until the condition of the slope equations is below this. Set by hand. Larger:
        /// the noise of the spikes becomes the answer. Smaller: fewer modes are told.
        condition_at_most: f64 = 40.0,
    }
}

settings! {
    /// Where the fit of a masked star starts.
    MaskedSettings {
        /// Half the side of the square about the core on which starts are compared. Set by hand. Larger: slower. Smaller: the orders
        /// that tell focus are cut off.
        middle_half_px: usize = 24,
        /// A start whose mean squared residual per pixel is below this is good; no other is tried. Set by hand. Larger: false minima
        /// are believed. Smaller: slower.
        good_start_per_px: f64 = 4.0,
        /// Sensor offsets that fits start from beside the one that the spikes say. Set by hand. Farther apart: starts lie beyond the
        /// range of the fit. Closer: stars far from focus are not reached without spikes.
        tried_offsets_m: [f64; 3] = [0.0, -12.0 * UM, 12.0 * UM],
        /// Where slots lie in two zones, a fit whose spherical aberration is farther than this from the design's is begun once more with
        /// each zone on the other side of focus. Set by hand (`tests/measuring/verb.rs`,
        /// `slots_in_two_zones_do_not_take_focus_for_spherical_aberration`). Larger: focus is taken for spherical aberration.
        /// Smaller: slower.
        spherical_seen_m: f64 = 5.0 * NM,
    }
}
