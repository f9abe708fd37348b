//! A measurement as it is written (`skewstar-measure/2`). All keys are always there; what is not known is `null`, never NaN.

use super::advice::{Advice, NoAdvice, Verdict};
use super::differs::Difference;
use super::doughnut::Side;
use super::good_enough::{GoodEnough, StopBy};
use super::measurement::Measurement;
use super::next::{NextStep, next_step};
use super::orientation::{CardSeen, FoundTilt, HoldCase, OrientationAnswer};
use super::plan::Plan;
use super::ring::Ring;
use super::settings::AdviceSettings;
use super::whole_frame::WholeFrame;
use super::words;
use crate::axes::FramePx;
use crate::flag::Flags;
use crate::instrument::Instrument;
use crate::math::Uncertain;
use crate::predict::{ComaScale, seeing_sigma_m};
use crate::state::{Exposure, Sky, State};
use crate::units::{ARCMIN, ARCSEC, DEG, MM, NM, UM};
use serde::Serialize;
use std::collections::BTreeMap;

/// The record. Keys are those of the file; units are in their names.
#[derive(Debug, Clone, Serialize)]
pub struct MeasureReport {
    /// `skewstar-measure/2`.
    pub format: &'static str,
    /// Version of the program.
    pub version: &'static str,
    /// `doughnut-fit`, `doughnut-pair-fit`, `masked-star-fit`, `whole-frame`, or `card` where the frame shows a card over the rim.
    pub method: &'static str,
    /// `stop`, `turn`, `trial` or `look-again`; the exit status follows it alone: 1 for `look-again`, else 0.
    pub verdict: &'static str,
    /// The one next step.
    pub next: NextStep,
    /// Noll index → total at the star, nm RMS.
    pub modes_nm: BTreeMap<u32, Uncertain>,
    /// Sensor beyond best focus, µm.
    pub sensor_offset_um: Option<Uncertain>,
    /// `inside` or `outside`.
    pub side: Option<&'static str>,
    /// How the side is known: `told` by the owner, by the shadows of the `vanes`, or `assumed`.
    pub side_from: Option<&'static str>,
    /// Where a wave with W = 0 would focus, frame pixels.
    pub star_px: Option<FramePx>,
    /// FWHM of the blur that the fit found, as seeing at the zenith and 500 nm.
    pub seeing_arcsec: Option<f64>,
    /// How far the obstruction sits aside, pupil axes; of pairs, and where one frame shows it.
    pub obstruction_aside_mm: Option<[Uncertain; 2]>,
    /// Edges read without a model.
    pub doughnut: Option<DoughnutReport>,
    /// Where the spikes of a masked star lie.
    pub spikes: Option<Vec<SpikeReport>>,
    /// Middle spike against the crossing of its partners.
    pub triplets: Option<Vec<TripletReport>>,
    /// Modes by the spikes' places alone.
    pub slopes: Option<SlopesReport>,
    /// Noll index → what the atmosphere adds in this exposure, nm RMS; `None` without an exposure.
    pub sigma_seeing_nm: Option<BTreeMap<u32, f64>>,
    /// When to stop.
    pub stop_nm: Option<StopReport>,
    /// χ² of the fit for each degree of freedom.
    pub chi_square: Option<f64>,
    /// Share of the light that the model does not explain.
    pub model_error: Option<f64>,
    /// What the star shows to be otherwise than it was typed or assumed.
    pub differs: Vec<Difference>,
    /// Focal plane and coma node, where the whole frame was asked for.
    pub whole_frame: Option<WholeFrame>,
    /// Every way of holding the camera that fits, the heaviest first; weights sum up to 1.
    pub orientations: Vec<OrientationReport>,
    /// What to turn; `None` where nothing can be advised.
    pub advice: Option<AdviceReport>,
    /// Whether the verdict is not `look-again`.
    pub sound: bool,
    /// What the owner should know.
    pub flags: Flags,
}

/// One way to hold the camera that fits.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct OrientationReport {
    /// Azimuth of the sensor's columns, pupil axes, −180 to 180.
    pub rotation_deg: f64,
    /// Whether the columns are flipped.
    pub mirrored: bool,
    /// `inside` or `outside`; `None` near focus and where it makes no difference.
    pub side: Option<&'static str>,
    /// How much it is to be believed.
    pub weight: f64,
}

/// The edges of a doughnut, frame pixels and directions.
#[derive(Debug, Clone, Serialize)]
pub struct DoughnutReport {
    /// Centroid of the area within the outer edge.
    pub outer_centre_px: FramePx,
    /// Radius of a circle of that area.
    pub outer_radius_px: f64,
    /// Centroid of the dark middle; `None` without an obstruction.
    pub dark_centre_px: Option<FramePx>,
    /// Radius of a circle of its area.
    pub inner_radius_px: Option<f64>,
    /// Dark centre minus outer centre.
    pub dark_shift_px: Option<FramePx>,
    /// Length of the shift over the outer radius.
    pub dark_shift_of_radius: Option<f64>,
    /// Direction of the shift, counter-clockwise from +x.
    pub dark_shift_deg: Option<f64>,
    /// Direction of the ring's thin side.
    pub thin_side_deg: f64,
    /// Thickness and brightness all round.
    pub sectors: Vec<SectorReport>,
    /// Vanes and cables that cross the ring.
    pub shadows: Vec<ShadowReport>,
}

/// One sector of the ring.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct SectorReport {
    /// Direction of its middle, frame axes.
    pub azimuth_deg: f64,
    /// Outer minus inner edge.
    pub thickness_px: f64,
    /// Mean light across the ring, over the mean of all sectors.
    pub brightness: f64,
}

/// A strip that crosses the ring.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct ShadowReport {
    /// Direction, frame axes.
    pub azimuth_deg: f64,
    /// Share of the light that is missing.
    pub depth: f64,
}

/// A spike of a masked star: the light through one region of the mask.
#[derive(Debug, Clone, Serialize)]
pub struct SpikeReport {
    /// Region of the mask.
    pub region: usize,
    /// Middle of the region, pupil axes.
    pub azimuth_deg: f64,
    /// Direction along the slots, pupil axes.
    pub slot_deg: f64,
    /// Place of the region's mean ray from the star's place along +slot direction, as the fit has it: what the truth calls so.
    pub shift_px: f64,
    /// The same in µm on the sensor.
    pub shift_um: f64,
    /// Its standard deviation; `None` where the frame does not determine it.
    pub sigma_px: Option<f64>,
    /// Where the light of the spike lies against the aligned telescope, without a fit; regions with parallel slots share it.
    /// `None` where it was not found.
    pub light_px: Option<f64>,
    /// Its standard deviation.
    pub light_sigma_px: Option<f64>,
}

/// A triplet of spikes, as an eye judges it.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct TripletReport {
    /// Slots of the middle spike, pupil axes.
    pub slot_deg: f64,
    /// Middle spike minus the crossing of its partners, along those slots.
    pub shift_px: f64,
    /// Its standard deviation.
    pub sigma_px: f64,
}

/// Modes by linear least squares from the spikes' places.
#[derive(Debug, Clone, Serialize)]
pub struct SlopesReport {
    /// Sensor beyond best focus, µm.
    pub sensor_offset_um: Option<Uncertain>,
    /// Noll index → nm RMS.
    pub modes_nm: BTreeMap<u32, Uncertain>,
    /// Spikes that were found.
    pub equations: usize,
    /// Modes asked for.
    pub unknowns: usize,
    /// Rank of the equations: how many combinations of the unknowns the spikes determine.
    pub rank: usize,
    /// Ratio of the largest to the smallest singular value kept.
    pub condition: f64,
}

/// When to stop, nm RMS of coma.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct StopReport {
    /// The level: the largest of what follows.
    pub stop: f64,
    /// Which one that is: `not-seen`, `atmosphere` or `hand`.
    pub decides: StopBy,
    /// Coma that is too small to be seen in a picture.
    pub not_seen: f64,
    /// What the atmosphere adds in this exposure; `None` without one.
    pub atmosphere: Option<f64>,
    /// Coma on which a hand's turn, with the shift of tightening, does not improve; `None` without screws or response.
    pub hand: Option<f64>,
    /// What an amount of coma looks like under the seeing that was measured.
    pub scale: ComaScale,
}

/// What to turn.
#[derive(Debug, Clone, Serialize)]
pub struct AdviceReport {
    /// `coma`, `tilt` or `both`.
    pub aim: &'static str,
    /// `stop`, `turn` or `look-again`: what the turns alone would say.
    pub verdict: &'static str,
    /// Coma that the turns take away, nm RMS; `None` where no star says it.
    pub undone_nm: Option<Uncertain>,
    /// Screw → turns; positive lengthens.
    pub turns: BTreeMap<String, f64>,
    /// The one screw that helps most alone.
    pub one_screw: Option<OneScrewReport>,
    /// The next turn in sentences, with the screws as seen from the front of the telescope; one plan.
    pub words: Vec<String>,
    /// The other plan in sentences, one a screw: a little at each, which holds the focus. Empty on a pivot, where there is one plan.
    pub all_screws: Vec<String>,
    /// How far the star will move, frame axes.
    pub image_shift_px: FramePx,
    /// How much farther out the sensor will stand, µm.
    pub focus_change_um: f64,
    /// What is left after exact turns.
    pub remaining: RemainingReport,
    /// Share of the tilt that the travel allows; 1 for all.
    pub reach: f64,
}

/// One turn of one screw.
#[derive(Debug, Clone, Serialize)]
pub struct OneScrewReport {
    /// Its name.
    pub screw: String,
    /// Turns; positive lengthens.
    pub turns: f64,
    /// Coma that is left, nm RMS.
    pub leaves_nm: f64,
    /// How much farther out the sensor will stand, µm.
    pub focus_change_um: f64,
}

/// What is left after exact turns.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct RemainingReport {
    /// Coma, nm RMS; `None` where it was not measured.
    pub coma_nm: Option<f64>,
    /// Tilt of the focal plane against the unit; `None` where it was not measured.
    pub plane_arcmin: Option<f64>,
}

/// Everything a report is made of.
#[derive(Debug, Clone, Copy)]
pub struct Findings<'a> {
    /// The star, when one was measured.
    pub star: Option<&'a Measurement>,
    /// The whole frame, when it was asked for.
    pub whole_frame: Option<&'a WholeFrame>,
    /// When to stop.
    pub stop: Option<GoodEnough>,
    /// What to turn.
    pub advice: Result<&'a Advice, NoAdvice>,
    /// Exposure, where it is known.
    pub exposure_s: Option<f64>,
    /// The tilt that was found, to be undone.
    pub tilt: Option<FoundTilt>,
    /// How things may be, the likeliest first.
    pub cases: &'a [HoldCase],
    /// Numbers of the screws whose effect trials have shown.
    pub tried: &'a [usize],
    /// The turn that told turns speak for, where there were any.
    pub plan: Option<Plan>,
    /// Cards that frames showed over the rim.
    pub cards: &'a [CardSeen],
    /// The ways of holding the camera that are told.
    pub orientations: &'a [OrientationAnswer],
    /// An answer of less weight than this is taken for ruled out.
    pub weight_that_counts: f64,
    /// Flags of the files.
    pub flags: &'a Flags,
    /// By which numbers the next step is chosen.
    pub settings: &'a AdviceSettings,
}

/// The method's name where no single star was measured.
fn without_star(found: &Findings) -> &'static str {
    match found.whole_frame.is_none() && !found.cards.is_empty() {
        true => "card",
        false => "whole-frame",
    }
}

impl Findings<'_> {
    /// Whether star and whole frame, as far as they were asked for, and the files that they came from, should be acted on.
    pub fn is_sound(&self) -> bool {
        self.flags.is_sound()
            && self.star.is_none_or(Measurement::is_sound)
            && self.whole_frame.is_none_or(WholeFrame::is_sound)
    }
}

impl MeasureReport {
    /// Writes the findings down.
    pub fn new(found: &Findings, verdict: Verdict, instrument: &Instrument) -> MeasureReport {
        let star = found.star;
        let pixel_m = instrument.camera.pixel_m;
        let mut flags = found.flags.clone();
        flags.extend(star.iter().flat_map(|s| &s.flags));
        flags.extend(found.whole_frame.iter().flat_map(|w| &w.flags));
        flags.extend(found.advice.iter().flat_map(|a| &a.flags));
        let masked = star.filter(|s| !s.spikes.is_empty());
        MeasureReport {
            format: "skewstar-measure/2",
            version: env!("CARGO_PKG_VERSION"),
            method: star.map_or(without_star(found), |s| s.method.name()),
            verdict: verdict.name(),
            next: next_step(found, verdict, instrument),
            modes_nm: star.map_or_else(BTreeMap::new, modes),
            sensor_offset_um: star
                .and_then(|s| s.sensor_offset_m())
                .map(|d| d.in_units_of(UM)),
            side: star.and_then(|s| s.side).map(|s| s.0.name()),
            side_from: star.and_then(|s| s.side).map(|s| s.1.name()),
            star_px: star.map(|s| s.star_px),
            seeing_arcsec: star.and_then(|s| s.seeing_rad()).map(|s| s / ARCSEC),
            obstruction_aside_mm: star
                .and_then(|s| s.obstruction_aside_m())
                .map(|aside| aside.map(|d| d.in_units_of(MM))),
            doughnut: star.and_then(|s| s.ring.as_ref()).map(doughnut),
            spikes: masked.map(|s| spikes(s, pixel_m)),
            triplets: masked.map(triplets),
            slopes: masked.and_then(slopes),
            sigma_seeing_nm: star.and_then(|s| seeing(found, s, instrument)),
            stop_nm: found.stop.map(|stop| StopReport {
                stop: stop.stop_m / NM,
                decides: stop.decided_by(),
                not_seen: stop.not_seen_m / NM,
                atmosphere: stop.atmosphere_m.map(|m| m / NM),
                hand: stop.hand_m.map(|m| m / NM),
                scale: stop.scale,
            }),
            chi_square: star.map(|s| s.fitted.chi_square),
            model_error: star.map(|s| s.fitted.model_error),
            differs: star.map_or(Vec::new(), |s| s.differs.clone()),
            whole_frame: found.whole_frame.cloned(),
            orientations: found.orientations.iter().map(orientation).collect(),
            advice: found.advice.ok().map(|a| advice(a, found, instrument)),
            sound: verdict != Verdict::LookAgain,
            flags,
        }
    }
}

fn orientation(answer: &OrientationAnswer) -> OrientationReport {
    OrientationReport {
        rotation_deg: answer.hold.rotation_rad / DEG,
        mirrored: answer.hold.mirrored,
        side: answer.side.map(Side::name),
        weight: answer.weight,
    }
}

fn modes(star: &Measurement) -> BTreeMap<u32, Uncertain> {
    let all = star.modes_m().into_iter();
    all.map(|(noll, uncertain)| (noll, uncertain.in_units_of(NM)))
        .collect()
}

fn doughnut(ring: &Ring) -> DoughnutReport {
    let shift = ring.dark_shift_px();
    let size = shift.map(|s| s.length());
    DoughnutReport {
        outer_centre_px: ring.outer_centre_px,
        outer_radius_px: ring.outer_radius_px,
        dark_centre_px: ring.dark_centre_px,
        inner_radius_px: ring.inner_radius_px,
        dark_shift_px: shift,
        dark_shift_of_radius: size.map(|s| s / ring.outer_radius_px),
        dark_shift_deg: shift.map(|s| (libm::atan2(s[1], s[0]) / DEG).rem_euclid(360.0)),
        thin_side_deg: ring.thin_side_rad() / DEG,
        sectors: ring
            .sectors
            .iter()
            .map(|s| SectorReport {
                azimuth_deg: s.azimuth_rad / DEG,
                thickness_px: s.thickness_px,
                brightness: s.brightness,
            })
            .collect(),
        shadows: ring
            .shadows
            .iter()
            .map(|s| ShadowReport {
                azimuth_deg: s.azimuth_rad / DEG,
                depth: s.depth,
            })
            .collect(),
    }
}

fn spikes(star: &Measurement, pixel_m: f64) -> Vec<SpikeReport> {
    let record = |ray: &super::RegionRay| {
        let light = star.spikes.iter().find(|s| s.regions.contains(&ray.region));
        SpikeReport {
            region: ray.region,
            azimuth_deg: ray.azimuth_rad / DEG,
            slot_deg: ray.slot_rad / DEG,
            shift_px: ray.shift_px.value,
            shift_um: ray.shift_px.value * pixel_m / UM,
            sigma_px: ray.shift_px.sigma,
            light_px: light.and_then(|s| s.shift_px),
            light_sigma_px: light.and_then(|s| s.sigma_px),
        }
    };
    star.region_rays.iter().map(record).collect()
}

fn triplets(star: &Measurement) -> Vec<TripletReport> {
    let record = |t: &super::FoundTriplet| TripletReport {
        slot_deg: t.slot_rad / DEG,
        shift_px: t.shift_px,
        sigma_px: t.sigma_px,
    };
    star.triplets.iter().map(record).collect()
}

fn slopes(star: &Measurement) -> Option<SlopesReport> {
    let slopes = star.slopes.as_ref()?;
    let record = |value: f64, sigma: f64, unit: f64| {
        let sigma = Some(sigma);
        Uncertain { value, sigma }.in_units_of(unit)
    };
    Some(SlopesReport {
        sensor_offset_um: slopes.sensor_offset_m.map(|(v, s)| record(v, s, UM)),
        modes_nm: slopes
            .modes_m
            .iter()
            .map(|(noll, v, s)| (*noll, record(*v, *s, NM)))
            .collect(),
        equations: slopes.equations[0],
        unknowns: slopes.equations[1],
        rank: slopes.rank,
        condition: slopes.condition,
    })
}

/// What the atmosphere adds to each mode, Noll index → nm RMS, with the seeing that the star shows and the wind of the settings.
fn seeing(
    found: &Findings,
    star: &Measurement,
    instrument: &Instrument,
) -> Option<BTreeMap<u32, f64>> {
    let state = State {
        sky: Sky {
            seeing_rad: star.seeing_rad(),
            wind_m_per_s: Some(found.settings.wind_m_per_s),
            ..Sky::default()
        },
        exposure: Some(Exposure {
            time_s: found.exposure_s?,
        }),
        ..State::default()
    };
    let wavelength_m = star.reference_m?;
    (4..=11)
        .map(|noll| {
            let sigma = seeing_sigma_m(&instrument.telescope, &state, wavelength_m, noll).ok()?;
            Some((noll, sigma / NM))
        })
        .collect()
}

fn advice(advice: &Advice, found: &Findings, instrument: &Instrument) -> AdviceReport {
    let screws = instrument.assembly.iter().flat_map(|a| &a.screws);
    let name = |screw: usize| {
        let assembly = instrument.assembly.as_ref();
        assembly.map_or(String::new(), |a| a.screws[screw].name.clone())
    };
    let stop_m = found.stop.map_or(0.0, |s| s.stop_m);
    AdviceReport {
        aim: advice.aim.name(),
        verdict: advice.verdict(stop_m).name(),
        undone_nm: advice.undone_m.map(|coma| coma.in_units_of(NM)),
        turns: screws
            .zip(advice.turns.iter())
            .map(|(screw, turns)| (screw.name.clone(), *turns))
            .collect(),
        one_screw: advice.one_screw.map(|one| OneScrewReport {
            screw: name(one.screw),
            turns: one.turns,
            leaves_nm: one.leaves_m / NM,
            focus_change_um: one.focus_change_m / UM,
        }),
        words: words::advised(found, advice, instrument),
        all_screws: words::all_screws(advice, instrument),
        image_shift_px: advice.image_shift_px,
        focus_change_um: advice.focus_change_m / UM,
        remaining: RemainingReport {
            coma_nm: advice.remaining_coma_m.map(|m| m / NM),
            plane_arcmin: advice.remaining_plane_rad.map(|t| t / ARCMIN),
        },
        reach: advice.reach,
    }
}
