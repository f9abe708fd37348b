//! The whole chain: a frame (or a pair) and an instrument in, modes with their uncertainty out.

use super::differs::{Difference, differences};
use super::doughnut::is_round;
use super::doughnut::{DoughnutFit, Side, SideFrom, measure_doughnut, measure_pair};
use super::error::MeasureError;
use super::fit::{Dimension, Fitted, FrameView, Look, Recorded, Unknown, finish};
use super::judged::judged;
use super::masked::{MaskedFit, aligned_star, measure_masked};
use super::orientation::{
    CardSeen, HeldFit, HoldSearch, OrientationAnswer, OrientationPrior, answers_of_masked,
    carried_field, holds_of_spikes,
};
use super::picture::{CutStar, Picture};
use super::region_rays::{RegionRay, region_rays};
use super::ring::{Ring, ring};
use super::settings::{JudgingSettings, MeasureSettings, RingSettings};
use super::{FoundSpike, FoundTriplet, SlopeModes};
use crate::axes::{FieldM, FramePx};
use crate::flag::{Flag, Flags};
use crate::instrument::{Hold, Instrument, Orientation};
use crate::math::Uncertain;
use crate::state::{Coma, Modes};
use std::f64::consts::PI;

/// What the owner says beside the frame.
#[derive(Debug, Clone, Copy, Default)]
pub struct MeasureOptions {
    /// Whether the mask was on; `None`: on where the instrument has one.
    pub mask_on: Option<bool>,
    /// On which side of focus the frame was taken.
    pub side: Option<Side>,
    /// Which star: the nearest to this place.
    pub at_px: Option<[f64; 2]>,
    /// Temperature of the star's spectrum; `None` for a flat one.
    pub temperature_k: Option<f64>,
    /// Whether the same bytes are wanted on all processors, more slowly.
    pub portable: bool,
    /// Whether rotation and mirroring of the camera as typed mean nothing.
    pub camera_unknown: bool,
    /// Cards over the rim that frames on the same side of focus show.
    pub cards: [Option<CardSeen>; 2],
    /// By which numbers measuring decides.
    pub settings: MeasureSettings,
}

/// How something was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// One doughnut.
    Doughnut,
    /// Two doughnuts of the same telescope.
    DoughnutPair,
    /// A masked star.
    MaskedStar,
}

impl Method {
    /// Its name in reports.
    pub fn name(self) -> &'static str {
        match self {
            Method::Doughnut => "doughnut-fit",
            Method::DoughnutPair => "doughnut-pair-fit",
            Method::MaskedStar => "masked-star-fit",
        }
    }
}

/// What a star shows.
#[derive(Debug, Clone)]
pub struct Measurement {
    /// What it was measured from.
    pub method: Method,
    /// Everything the fit found.
    pub fitted: Fitted,
    /// Place of the star, where a wave with W = 0 would focus.
    pub star_px: FramePx,
    /// Place in the field.
    pub field_m: FieldM,
    /// Edges of the (first) doughnut, frame pixels.
    pub ring: Option<Ring>,
    /// Spikes of a masked star.
    pub spikes: Vec<FoundSpike>,
    /// Mean rays of the mask's regions, by the fit.
    pub region_rays: Vec<RegionRay>,
    /// Its triplets.
    pub triplets: Vec<FoundTriplet>,
    /// Modes by its slopes alone.
    pub slopes: Option<SlopeModes>,
    /// How the camera is held: pupil axes are those of this hold.
    pub hold: Hold,
    /// All ways of holding the camera that fit, the heaviest first.
    pub orientations: Vec<OrientationAnswer>,
    /// Side of focus, and who says so; without a mask only.
    pub side: Option<(Side, SideFrom)>,
    /// Reference wavelength of the model.
    pub reference_m: Option<f64>,
    /// Part of the frame that was fitted: column and row of its corner, then its numbers of columns and rows.
    pub cut_px: [[usize; 2]; 2],
    /// What it shows to be otherwise than it was typed or assumed.
    pub differs: Vec<Difference>,
    /// What the owner should know.
    pub flags: Flags,
}

impl Measurement {
    /// A mode's value, metres RMS, and its uncertainty; `None` where it was not free.
    pub fn mode_m(&self, noll: u32) -> Option<Uncertain> {
        self.unknown(Unknown::Mode(noll))
    }

    /// Coma at the star, total; `None` where it was not free.
    pub fn coma(&self) -> Option<Coma> {
        let column = |noll| self.fitted.trial.position(Unknown::Mode(noll));
        let (x, y) = (column(8)?, column(7)?);
        let Fitted {
            trial,
            sigmas,
            covariance,
            ..
        } = &self.fitted;
        let known = sigmas[x].is_some() && sigmas[y].is_some();
        let shared = || [covariance[x][x], covariance[x][y], covariance[y][y]];
        let coma = Coma::along_axes([trial.values[x], trial.values[y]]);
        Some(coma.with_covariance(known.then(shared)))
    }

    /// All free modes.
    pub fn modes_m(&self) -> Vec<(u32, Uncertain)> {
        (2..=60)
            .filter_map(|noll| Some((noll, self.mode_m(noll)?)))
            .collect()
    }

    /// The sensor beyond focus.
    pub fn sensor_offset_m(&self) -> Option<Uncertain> {
        self.unknown(Unknown::SensorOffset(0))
    }

    /// FWHM of the seeing that the frame shows, radians.
    pub fn seeing_rad(&self) -> Option<f64> {
        self.unknown(Unknown::Seeing(0)).map(|s| libm::exp(s.value))
    }

    /// How far the obstruction sits aside, pupil axes; from a pair, and where a single frame shows it.
    pub fn obstruction_aside_m(&self) -> Option<[Uncertain; 2]> {
        let axis = |d| self.unknown(Unknown::Dimension(d));
        Some([
            axis(Dimension::ObstructionX)?,
            axis(Dimension::ObstructionY)?,
        ])
    }

    /// Whether the result should be acted on.
    pub fn is_sound(&self) -> bool {
        self.flags.is_sound()
    }

    fn unknown(&self, unknown: Unknown) -> Option<Uncertain> {
        let (value, sigma) = self.fitted.get(unknown)?;
        Some(Uncertain { value, sigma })
    }
}

/// Measures the star of one frame.
///
/// # Errors
/// [`MeasureError`] where there is nothing to measure or the model cannot be computed; what can be measured badly is flagged.
pub fn measure(
    picture: &Picture,
    instrument: &Instrument,
    options: &MeasureOptions,
) -> Result<Measurement, MeasureError> {
    let mask_on = options.mask_on.unwrap_or(instrument.mask.is_some());
    if mask_on && instrument.mask.is_none() {
        return Err(MeasureError::NoMask);
    }
    let settings = &options.settings;
    let star = picture.star(instrument, mask_on, options.at_px, &settings.finding)?;
    let look = look(options);
    if mask_on {
        let prior = OrientationPrior::of(instrument, picture, options);
        return masked_star(&star, instrument, prior, look, options);
    }
    let edges = edges_of(&star, &settings.ring)?;
    let prior = OrientationPrior::of(instrument, picture, options);
    // shadows that contradict a camera that was checked must not be explained by moving what casts them
    let known = prior.known == Some(Orientation::Known) && !is_round(instrument);
    let as_typed = &settings.with_shadows_as_typed();
    let search = HoldSearch {
        star: &star,
        edges: &edges,
        instrument,
        look,
        settings: if known { as_typed } else { settings },
        prior,
    };
    let mut held = search.any_way()?;
    let better = held_otherwise(instrument, &held.fit.fitted, settings, |held| {
        let mut view = FrameView::new(0, star.recorded.clone(), held, look);
        Ok(measure_doughnut(&mut view, &edges, held, options.side, as_typed)?.fitted)
    })?;
    if known && better.is_none() {
        held = asked_further(held, &edges, instrument, settings)?;
    }
    let mut found = doughnut(Method::Doughnut, held, edges, &star, settings);
    found.flags.extend(better);
    Ok(told_what_differs(found, instrument, &settings.judging))
}

/// A fit that took all shadows as typed, gone on with everything asked; from the edges once more where it does not explain the star.
fn asked_further(
    held: HeldFit,
    edges: &Ring,
    instrument: &Instrument,
    settings: &MeasureSettings,
) -> Result<HeldFit, MeasureError> {
    let found = &held.fit.fitted;
    let beyond_chance = (found.chi_square - 1.0) * (0.5 * held.view.used_px() as f64).sqrt();
    let mut view = held.view.afresh();
    let instrument = &instrument.held(held.hold);
    let fitted = match beyond_chance > settings.fit.asked_more_from_sigma {
        true => {
            let side = Some(held.fit.side);
            measure_doughnut(&mut view, edges, instrument, side, settings)?.fitted
        }
        false => {
            let views = std::slice::from_mut(&mut view);
            finish(views, found.trial.clone(), instrument, &settings.fit)?
        }
    };
    let fit = DoughnutFit { fitted, ..held.fit };
    Ok(HeldFit { fit, view, ..held })
}

/// Measures a masked star, with the camera held as its spikes lie.
fn masked_star(
    star: &CutStar,
    instrument: &Instrument,
    prior: OrientationPrior,
    look: Look,
    options: &MeasureOptions,
) -> Result<Measurement, MeasureError> {
    let settings = &options.settings;
    let core = inside(star, star.source.centre_px);
    let mut view = FrameView::new(0, star.recorded.clone(), instrument, look);
    let aligned_e = aligned_star(&mut view, core, instrument, look, settings)?;
    let holds = holds_of_spikes(&prior, instrument, &star.light_adu, &aligned_e, core);
    let mut best: Option<(MaskedFit, FrameView, Hold)> = None;
    for found in holds {
        // of all holds that give the same picture the likeliest is fitted, so that modes are in its axes
        let alike = answers_of_masked(&prior, instrument, found);
        let hold = alike.first().map_or(found, |answer| answer.hold);
        let held = instrument.held(hold);
        let recorded = Recorded {
            field_m: carried_field(star.recorded.field_m, prior.typed, hold),
            ..star.recorded.clone()
        };
        let mut view = FrameView::new(0, recorded, &held, look);
        let fit = measure_masked(&mut view, core, &held, look, settings)?;
        let better =
            |b: &(MaskedFit, FrameView, Hold)| fit.fitted.chi_square < b.0.fitted.chi_square;
        if best.as_ref().is_none_or(better) {
            best = Some((fit, view, hold));
        }
    }
    let Some((fit, view, hold)) = best else {
        return Err(MeasureError::NoMask);
    };
    let held = instrument.held(hold);
    let wavelength_m = view.reference_m(0).unwrap_or_default();
    let prior_of_fit = &settings.fit.prior;
    let rays = region_rays(
        &fit.fitted,
        &view.recorded,
        &held,
        wavelength_m,
        prior_of_fit,
    );
    let found = Measurement {
        orientations: answers_of_masked(&prior, instrument, hold),
        ..masked(fit, rays, star, &view, &held, &settings.judging)
    };
    Ok(told_what_differs(found, instrument, &settings.judging))
}

/// With what it shows to be otherwise than typed.
fn told_what_differs(
    found: Measurement,
    instrument: &Instrument,
    settings: &JudgingSettings,
) -> Measurement {
    let held = instrument.held(found.hold);
    let differs = differences(&found, &held, settings);
    Measurement { differs, ..found }
}

/// Measures the star of two frames of the same telescope, taken at different focus.
///
/// # Errors
/// As [`measure`].
pub fn measure_two(
    pictures: [&Picture; 2],
    instrument: &Instrument,
    options: &MeasureOptions,
) -> Result<Measurement, MeasureError> {
    if options.mask_on == Some(true) {
        return Err(MeasureError::SecondWithMask);
    }
    let settings = &options.settings;
    let stars = [
        pictures[0].star(instrument, false, options.at_px, &settings.finding)?,
        pictures[1].star(instrument, false, None, &settings.finding)?,
    ];
    let edges = [
        edges_of(&stars[0], &settings.ring)?,
        edges_of(&stars[1], &settings.ring)?,
    ];
    let look = look(options);
    let views = |held: &Instrument| -> Vec<FrameView> {
        let numbered = stars.iter().enumerate();
        numbered
            .map(|(number, star)| FrameView::new(number, star.recorded.clone(), held, look))
            .collect()
    };
    let rings = [&edges[0], &edges[1]];
    // the first frame says how the camera is held; a second one at another focus says no more of it
    let first = HoldSearch {
        star: &stars[0],
        edges: &edges[0],
        instrument,
        look,
        settings,
        prior: OrientationPrior::of(instrument, pictures[0], options),
    };
    let alone = first.any_way()?;
    let instrument = &instrument.held(alone.hold);
    let side = options.side.map(|_| alone.fit.side);
    let mut own = views(instrument);
    let fit = measure_pair(&mut own, rings, instrument, side, settings)?;
    let better = held_otherwise(instrument, &fit.fitted, settings, |held| {
        Ok(measure_pair(&mut views(held), rings, held, options.side, settings)?.fitted)
    })?;
    let [first, _] = edges;
    let view = own.swap_remove(0);
    let held = HeldFit { fit, view, ..alone };
    let mut found = doughnut(Method::DoughnutPair, held, first, &stars[0], settings);
    found.flags.extend(better);
    found.flags.extend(&stars[1].flags);
    Ok(told_what_differs(found, instrument, &settings.judging))
}

/// Where the orientation is known and the fit did not explain the star, tries the picture turned by half a turn, mirrored, and upside
/// down; returns the flag of the way that fits far better, or `None`. Only shadows of vanes and obstructions tell these ways
/// apart: a round pupil fits all of them alike and is not tried.
fn held_otherwise(
    instrument: &Instrument,
    found: &Fitted,
    settings: &MeasureSettings,
    fit: impl Fn(&Instrument) -> Result<Fitted, MeasureError>,
) -> Result<Option<Flag>, MeasureError> {
    let settings = &settings.judging;
    let known = instrument.camera.orientation == Orientation::Known;
    if !known || found.model_error == 0.0 || is_round(instrument) {
        return Ok(None);
    }
    let beyond = |chi_square: f64| (chi_square - 1.0).max(settings.chi_square_known_to);
    let ways = [
        (false, PI, Flag::HalfTurnFitsBetter),
        (true, 0.0, Flag::MirroredFitsBetter),
        (true, PI, Flag::UpsideDownFitsBetter),
    ];
    let far_better = settings.held_otherwise_share * beyond(found.chi_square);
    let mut best = (None, far_better);
    for (flipped, turn_rad, flag) in ways {
        let mut held = instrument.clone();
        held.camera.mirrored ^= flipped;
        held.camera.rotation_rad += turn_rad;
        let left = beyond(fit(&held)?.chi_square);
        if left < best.1 {
            best = (Some(flag), left);
        }
    }
    Ok(best.0)
}

fn look(options: &MeasureOptions) -> Look {
    Look {
        portable: options.portable,
        temperature_k: options.temperature_k,
        settings: options.settings.fit,
    }
}

pub(super) fn edges_of(star: &CutStar, settings: &RingSettings) -> Result<Ring, MeasureError> {
    ring(&star.light_adu, settings).ok_or(MeasureError::NoRing {
        centre_px: star.source.centre_px,
    })
}

/// A place of the frame in the cut-out.
fn inside(star: &CutStar, place_px: [f64; 2]) -> [f64; 2] {
    [0, 1].map(|axis| place_px[axis] - star.corner_px[axis] as f64)
}

fn masked(
    fit: MaskedFit,
    region_rays: Vec<RegionRay>,
    star: &CutStar,
    view: &FrameView,
    instrument: &Instrument,
    settings: &JudgingSettings,
) -> Measurement {
    Measurement {
        hold: instrument.camera.hold(),
        region_rays,
        spikes: fit.spikes,
        triplets: fit.triplets,
        slopes: fit.slopes,
        ..plain(Method::MaskedStar, fit.fitted, star, view, settings)
    }
}

fn doughnut(
    method: Method,
    held: HeldFit,
    edges: Ring,
    star: &CutStar,
    settings: &MeasureSettings,
) -> Measurement {
    let HeldFit {
        fit,
        hold,
        answers,
        view,
    } = held;
    let settings = &settings.judging;
    let mut found = Measurement {
        hold,
        orientations: answers,
        ..plain(method, fit.fitted, star, &view, settings)
    };
    if fit.side_from == SideFrom::Assumed {
        found.flags.raise(Flag::EvenSignOpen);
    }
    let aside = found.obstruction_aside_m().is_some_and(|aside| {
        let limit = settings.obstruction_aside_sigma;
        let seen = |d: &Uncertain| d.sigma.is_some_and(|s| d.value.abs() > limit * s);
        aside.iter().any(seen)
    });
    if aside {
        found.flags.raise(Flag::ObstructionAside);
    }
    let corner = star.corner_px.map(|c| c as f64);
    found.side = Some((fit.side, fit.side_from));
    found.ring = Some(edges.moved(FramePx::new(corner)));
    found
}

fn plain(
    method: Method,
    fitted: Fitted,
    star: &CutStar,
    view: &FrameView,
    settings: &JudgingSettings,
) -> Measurement {
    let mut flags = star.flags.clone();
    if fitted.unexplained < settings.overlap_unexplained_share {
        // it looked double, and one star explains it
        flags = flags.without(Flag::StarsOverlap);
    }
    flags.extend(&judged(&fitted, settings));
    let place = |axis| {
        let inside = fitted.get(Unknown::Place(0, axis)).map_or(0.0, |p| p.0);
        inside + star.corner_px[axis] as f64
    };
    let (rows, columns) = star.recorded.image_e.dim();
    Measurement {
        method,
        star_px: FramePx::new([place(0), place(1)]),
        field_m: view.recorded.field_m,
        hold: Hold {
            rotation_rad: 0.0,
            mirrored: false,
        },
        orientations: Vec::new(),
        ring: None,
        spikes: Vec::new(),
        region_rays: Vec::new(),
        triplets: Vec::new(),
        slopes: None,
        side: None,
        reference_m: view.reference_m(0),
        cut_px: [star.corner_px, [columns, rows]],
        differs: Vec::new(),
        flags,
        fitted,
    }
}

/// Modes that the telescope would have if it were aligned, at a place in the field.
pub(super) fn aligned_modes(instrument: &Instrument, field_m: FieldM) -> Modes {
    let mut modes = instrument.telescope.design.clone();
    let of_field = crate::mechanics::field_modes(&instrument.telescope.field, field_m);
    modes.add_scaled(&of_field, 1.0);
    modes
}
