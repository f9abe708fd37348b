//! The parts of a diagnosis, each from one question to its answer.

use super::{DiagnosisError, DiagnosisOptions};
use crate::axes::FieldM;
use crate::flag::Flags;
use crate::instrument::{Hold, Instrument};
use crate::measure::learn::{Belief, LearnedResponse, Sighting};
use crate::measure::orientation::{
    HoldCase, OrientationAnswer, OrientationPrior, answers_of_prior, carried_coma, carried_field,
};
use crate::measure::{
    GoodEnough, MeasureError, MeasureSettings, Measurement, Misaligned, Picture, Plan, PlanFor,
    WholeFrame, WholeFrameOptions, good_enough, measure, measure_two, together, whole_frame,
};
use crate::scenario::check_instrument;
use crate::spectrum;
use crate::units::ARCMIN;
use num_complex::Complex64;

/// The instrument with a learned response laid over it, and the flags of the files with what the response leaves open.
pub(super) fn with_response(
    instrument: &Instrument,
    options: &DiagnosisOptions,
) -> Result<(Instrument, Flags), DiagnosisError> {
    let mut instrument = instrument.clone();
    let mut flags = options.flags.clone();
    if let Some(learned) = options.response {
        let lacking = learned.apply(&mut instrument)?;
        flags.extend(&lacking);
    }
    check_instrument(&instrument)?;
    Ok((instrument, flags))
}

/// Coma of a star, by itself or put together with that of other frames of its state; `None` where it is not determined.
pub(super) fn sighted(
    star: &Measurement,
    instrument: &Instrument,
    stop: &GoodEnough,
    same_state: Option<&[Sighting]>,
) -> Option<Sighting> {
    let own = Sighting::of(star)?;
    let Some(others) = same_state else {
        return Some(own);
    };
    let all: Vec<Sighting> = others.iter().copied().chain([own]).collect();
    together(&all, stop.atmosphere_m.unwrap_or(0.0), instrument)
}

/// What is known of the screws.
pub(super) struct Known<'a> {
    pub belief: &'a Belief,
    /// Numbers of those whose effect was seen.
    pub tried: &'a [usize],
    /// Numbers of those that cannot be turned.
    pub barred: &'a [usize],
}

/// The turn that told turns speak for, with coma as it was sighted.
pub(super) fn planned(
    knows: &Known,
    sighting: &Sighting,
    instrument: &Instrument,
    stop: &GoodEnough,
    settings: &MeasureSettings,
) -> Option<Plan> {
    let assembly = instrument.assembly.as_ref()?;
    let [x, y] = sighting.in_frame_m(instrument);
    let plan = PlanFor {
        belief: knows.belief,
        now: Complex64::new(x, y),
        stop_m: stop.stop_m,
        trial_turns: settings.advice.trial_turns_of(instrument),
        tried: knows.tried,
        barred: knows.barred,
        assembly,
        advice: &settings.advice,
        learning: &settings.learning,
    };
    plan.chosen()
}

/// Coma per tilt as typed; where nothing is, any number serves to compare ways of holding the camera.
pub(super) fn per_rad_of(instrument: &Instrument) -> f64 {
    let assembly = instrument.assembly.as_ref();
    let response = assembly.and_then(|assembly| assembly.response.as_ref());
    response.map_or(1.0, |response| response.coma_m_per_rad)
}

/// Measures what was asked for: one star (of one frame or of two), or all of them.
pub(super) fn look(
    picture: &Picture,
    instrument: &Instrument,
    options: &DiagnosisOptions,
) -> Result<(Option<Measurement>, Option<WholeFrame>), MeasureError> {
    if options.whole_frame {
        let of_frame = WholeFrameOptions {
            side: options.measure.side,
            corners: options.corners,
            turned: options.second.filter(|_| options.turned),
            settings: options.measure.settings,
            ..WholeFrameOptions::default()
        };
        return Ok((None, Some(whole_frame(picture, instrument, &of_frame)?)));
    }
    let star = match options.second {
        Some(second) => measure_two([picture, second], instrument, &options.measure)?,
        None => measure(picture, instrument, &options.measure)?,
    };
    Ok((Some(star), None))
}

/// When to stop, under the seeing of the star, or the usual one where no star was measured.
pub(super) fn stop_level(
    instrument: &Instrument,
    star: Option<&Measurement>,
    exposure_s: Option<f64>,
    settings: &MeasureSettings,
) -> GoodEnough {
    let seeing_rad = star.and_then(Measurement::seeing_rad);
    let edges_m = spectrum::edges(&instrument.camera.passband);
    let middle_m = 0.5 * (edges_m[0] + edges_m[1]);
    good_enough(
        instrument,
        seeing_rad.unwrap_or(settings.fit.prior.seeing_rad),
        exposure_s,
        star.and_then(|s| s.reference_m).unwrap_or(middle_m),
        &settings.advice,
    )
}

/// The ways of holding the camera that the frame leaves; where no star was measured, those that were believed beforehand.
pub(super) fn seen_orientations(
    instrument: &Instrument,
    picture: &Picture,
    star: Option<&Measurement>,
    options: &DiagnosisOptions,
) -> Vec<OrientationAnswer> {
    match star {
        Some(star) => star.orientations.clone(),
        None => answers_of_prior(&OrientationPrior::of(instrument, picture, &options.measure)),
    }
}

/// The ways of holding the camera that trials leave, on the side of focus that the star was found on.
pub(super) fn learned_orientations(
    learned: &LearnedResponse,
    star: Option<&Measurement>,
) -> Vec<OrientationAnswer> {
    let side = star.and_then(|star| star.side).map(|side| side.0);
    let answer = |learned: &HoldCase| OrientationAnswer {
        hold: learned.hold,
        side,
        weight: learned.weight,
    };
    learned.holds.iter().map(answer).collect()
}

/// What is to be put right, as far as it was measured soundly, in pupil axes of `hold`.
pub(super) fn misaligned(
    star: Option<&Measurement>,
    sighting: Option<&Sighting>,
    whole: Option<&WholeFrame>,
    hold: Hold,
) -> Misaligned {
    let star = star.filter(|s| s.is_sound());
    let plane = whole.and_then(WholeFrame::plane_to_act_on);
    let coma = whole
        .filter(|w| w.is_sound())
        .and_then(WholeFrame::sound_coma);
    let in_rad = |tilt: [crate::measure::Estimate; 2]| tilt.map(|t| t.value * ARCMIN);
    // corners that no turn mends are not turned for, whatever sizes and asymmetries alone would say
    let by_corners = whole
        .filter(|w| w.is_sound())
        .and_then(WholeFrame::tilt_by_corners);
    let alone = whole.is_some_and(WholeFrame::leaves_screws_alone);
    let mends = |tilt_rad: [f64; 2]| if alone { [0.0; 2] } else { tilt_rad };
    Misaligned {
        coma: star.and_then(|s| {
            let coma = sighting.map_or_else(|| s.coma(), |sighting| Some(sighting.coma))?;
            Some(carried_coma(&coma, s.hold, hold))
        }),
        field_m: star.map_or(FieldM::ZERO, |s| carried_field(s.field_m, s.hold, hold)),
        node_tilt_rad: coma
            .and_then(|c| c.tilt_arcmin)
            .map(in_rad)
            .map(mends)
            .or(by_corners),
        plane_tilt_rad: plane
            .and_then(|p| p.tilt_arcmin)
            .map(in_rad)
            .map(mends)
            .or(by_corners),
    }
}
