//! The way back, in one value: a frame and what the owner knows, and everything that follows from them.
//!
//! [`Diagnosis::of`] checks the instrument by the rules of a scenario file, measures, works out turns and stop level, and judges.
//! It is blind: it is handed pixel values and an instrument, never a state or a truth.
//!
//! ```no_run
//! use skewstar::{Diagnosis, DiagnosisOptions, files};
//!
//! let instrument = files::scenario("unit.toml", &[])?.instrument;
//! let frame = files::picture("night.fits", &instrument)?;
//! let found = Diagnosis::of(&frame.picture, &instrument, &DiagnosisOptions::default())?;
//! println!("{}", found.words().join("\n"));          // what is seen, and what to do
//! println!("{:?}", found.next());                    // the one next step, for a program
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

use crate::axes::FieldM;
use crate::flag::Flags;
use crate::instrument::{Hold, Instrument};
use crate::measure::learn::{Belief, LearnError, LearnedResponse, Sighting};
use crate::measure::orientation::{
    FoundTilt, HoldCase, OrientationAnswer, OrientationPrior, answers_of_prior, carried_coma,
    carried_field, cases_of_frame, helps,
};
use crate::measure::{
    Advice, Aim, CardFrame, CardSeen, Findings, GoodEnough, MeasureError, MeasureOptions,
    MeasureReport, MeasureSettings, Measurement, Misaligned, NextStep, NoAdvice, Picture, Plan,
    PlanFor, Verdict, WholeFrame, WholeFrameOptions, advise, cards_seen, findings, good_enough,
    holds_in_words, measure, measure_two, next_step, step_and_rest, together, whole_frame,
};
use crate::scenario::{ScenarioError, check_instrument};
use crate::spectrum;
use crate::units::ARCMIN;
use num_complex::Complex64;

/// What is asked of a frame, and what is known beside it.
#[derive(Debug, Clone, Default)]
pub struct DiagnosisOptions<'a> {
    /// Mask, side, which star, its temperature, and the settings of everything that follows.
    pub measure: MeasureOptions,
    /// Frames that show a card held over the rim, two at most, on the side of focus of the frame at hand. Where the frame at hand is one of
    /// them, no star is measured.
    pub cards: Vec<CardFrame<'a>>,
    /// A second frame of the same telescope at another focus.
    pub second: Option<&'a Picture>,
    /// Whether all stars of the frame are to be measured instead of one.
    pub whole_frame: bool,
    /// Whether what is wrong with the corners is read from the stars of the whole frame
    /// ([`WholeFrameOptions::corners`] says how far that goes).
    pub corners: bool,
    /// Whether the second frame shows the whole field with the camera turned half round in its adapter.
    pub turned: bool,
    /// What the turns are to mend.
    pub aim: Aim,
    /// What trial turns taught; it is laid over what the instrument says.
    pub response: Option<&'a LearnedResponse>,
    /// The star in other frames of the same state, where several are put together ([`together`]): the uncertainty of coma then counts what
    /// the atmosphere adds in each exposure. `None` where the frame stands alone.
    pub same_state: Option<&'a [Sighting]>,
    /// Numbers of the screws that cannot be turned.
    pub barred: &'a [usize],
    /// Exposure, where the frame does not say it.
    pub exposure_s: Option<f64>,
    /// Flags of the files that the frames came from.
    pub flags: Flags,
}

/// Why there is none.
#[derive(Debug, thiserror::Error)]
pub enum DiagnosisError {
    /// The instrument cannot be meant.
    #[error(transparent)]
    Instrument(#[from] ScenarioError),
    /// The learned response does not fit the instrument.
    #[error(transparent)]
    Response(#[from] LearnError),
    /// Nothing can be measured.
    #[error(transparent)]
    Measure(#[from] MeasureError),
}

impl DiagnosisError {
    /// What to do next.
    pub fn hint(&self) -> &str {
        match self {
            DiagnosisError::Instrument(error) => error.hint(),
            DiagnosisError::Response(error) => error.hint(),
            DiagnosisError::Measure(error) => error.hint(),
        }
    }
}

/// What a frame shows and what to do about it.
#[derive(Debug, Clone)]
pub struct Diagnosis {
    /// As turns are reckoned: with a learned response, and the camera held as is likeliest.
    instrument: Instrument,
    star: Option<Measurement>,
    /// Its coma by all frames of its state.
    sighting: Option<Sighting>,
    whole_frame: Option<WholeFrame>,
    stop: GoodEnough,
    advice: Result<Advice, NoAdvice>,
    exposure_s: Option<f64>,
    /// How things may be, the likeliest first.
    cases: Vec<HoldCase>,
    orientations: Vec<OrientationAnswer>,
    /// Numbers of the screws that trials have shown, and of those that cannot be turned.
    tried: Vec<usize>,
    cards: Vec<CardSeen>,
    /// The turn that told turns speak for.
    plan: Option<Plan>,
    flags: Flags,
    settings: MeasureSettings,
}

impl Diagnosis {
    /// Measures a frame and works out what to do.
    ///
    /// # Errors
    /// [`DiagnosisError`]; what can be measured badly is flagged instead, and the verdict is then [`Verdict::LookAgain`].
    pub fn of(
        picture: &Picture,
        instrument: &Instrument,
        options: &DiagnosisOptions,
    ) -> Result<Diagnosis, DiagnosisError> {
        if !options.cards.is_empty() {
            check_instrument(instrument)?;
        }
        let cards = cards_seen(&options.cards, picture, instrument, &options.measure)?;
        let options = &DiagnosisOptions {
            measure: MeasureOptions {
                cards,
                ..options.measure
            },
            ..options.clone()
        };
        if options.cards.iter().any(|card| card.picture.is_none()) {
            return Diagnosis::of_cards(picture, instrument, options);
        }
        let (learned, _) = with_response(instrument, options)?;
        let found = look(picture, &learned, options)?;
        Diagnosis::judged(picture, instrument, found, options)
    }

    /// The same frame, as it was measured, judged by what became known since: another response, other frames of the same state.
    ///
    /// # Errors
    /// [`DiagnosisError`] where the response does not fit the instrument.
    pub fn again(
        &self,
        picture: &Picture,
        instrument: &Instrument,
        options: &DiagnosisOptions,
    ) -> Result<Diagnosis, DiagnosisError> {
        let found = (self.star.clone(), self.whole_frame.clone());
        Diagnosis::judged(picture, instrument, found, options)
    }

    /// What follows from what was measured.
    fn judged(
        picture: &Picture,
        instrument: &Instrument,
        (star, whole): (Option<Measurement>, Option<WholeFrame>),
        options: &DiagnosisOptions,
    ) -> Result<Diagnosis, DiagnosisError> {
        let settings = &options.measure.settings;
        let belief = options
            .response
            .and_then(|learned| Belief::of(learned, instrument, settings));
        let (instrument, flags) = with_response(instrument, options)?;
        let exposure_s = options.exposure_s.or(picture.exposure_s);
        let stop = stop_level(&instrument, star.as_ref(), exposure_s, settings);
        let (orientations, cases) = match options.response {
            Some(learned) => (
                learned_orientations(learned, star.as_ref()),
                learned.holds.clone(),
            ),
            None => {
                let seen = seen_orientations(&instrument, picture, star.as_ref(), options);
                let cases = cases_of_frame(&seen, per_rad_of(&instrument));
                (seen, cases)
            }
        };
        // what is worked out holds for the likeliest way, and is judged in all of them
        let acting = match (options.response, &star) {
            (None, Some(star)) => instrument.held(star.hold),
            _ => instrument,
        };
        let sighting = star
            .as_ref()
            .and_then(|star| sighted(star, &acting, &stop, options.same_state));
        let found = misaligned(
            star.as_ref(),
            sighting.as_ref(),
            whole.as_ref(),
            acting.camera.hold(),
        );
        // what is wrong with the file is wrong with all that was measured on it
        let advice = match flags.is_sound() {
            true => advise(&acting, &found, options.aim, &settings.advice)
                .map(|advice| advice.without(options.barred, &acting)),
            false => Err(NoAdvice::NotMeasured),
        };
        let tried = match (options.response, &acting.assembly) {
            (Some(learned), Some(assembly)) => learned.tried(assembly),
            _ => Vec::new(),
        };
        let plan = belief
            .filter(|_| advice.is_ok() && options.aim == Aim::Coma)
            .and_then(|belief| {
                let knows = Known {
                    belief: &belief,
                    tried: &tried,
                    barred: options.barred,
                };
                planned(&knows, sighting.as_ref()?, &acting, &stop, settings)
            });
        Ok(Diagnosis {
            plan,
            instrument: acting,
            star,
            sighting,
            whole_frame: whole,
            stop,
            advice,
            exposure_s,
            cases,
            orientations,
            tried: tried
                .into_iter()
                .chain(options.barred.iter().copied())
                .collect(),
            cards: options.measure.cards.iter().flatten().copied().collect(),
            flags,
            settings: *settings,
        })
    }

    /// What cards over the rim say of how the camera is held, where the frame at hand shows one of them and no star to be measured.
    fn of_cards(
        picture: &Picture,
        instrument: &Instrument,
        options: &DiagnosisOptions,
    ) -> Result<Diagnosis, DiagnosisError> {
        check_instrument(instrument)?;
        let settings = &options.measure.settings;
        let orientations =
            answers_of_prior(&OrientationPrior::of(instrument, picture, &options.measure));
        Ok(Diagnosis {
            instrument: instrument.clone(),
            star: None,
            sighting: None,
            whole_frame: None,
            stop: stop_level(instrument, None, options.exposure_s, settings),
            advice: Err(NoAdvice::CardOverRim),
            exposure_s: options.exposure_s,
            cases: cases_of_frame(&orientations, per_rad_of(instrument)),
            orientations,
            plan: None,
            tried: Vec::new(),
            cards: options.measure.cards.iter().flatten().copied().collect(),
            flags: options.flags.clone(),
            settings: *settings,
        })
    }

    /// The instrument that turns were reckoned with: a learned response is in it, and the camera is held as is likeliest.
    pub fn instrument(&self) -> &Instrument {
        &self.instrument
    }

    /// The instrument with the camera held as the star was measured: its modes are in those pupil axes.
    pub fn as_measured(&self) -> Instrument {
        match &self.star {
            Some(star) => self.instrument.held(star.hold),
            None => self.instrument.clone(),
        }
    }

    /// The star, where one was asked for.
    pub fn star(&self) -> Option<&Measurement> {
        self.star.as_ref()
    }

    /// Its coma as turns are reckoned with it: by all frames of its state, where several were put together.
    pub fn sighting(&self) -> Option<&Sighting> {
        self.sighting.as_ref()
    }

    /// Cards that frames showed over the rim.
    pub fn cards(&self) -> &[CardSeen] {
        &self.cards
    }

    /// All stars, where they were asked for.
    pub fn whole_frame(&self) -> Option<&WholeFrame> {
        self.whole_frame.as_ref()
    }

    /// Below which coma nothing is to be gained, and why.
    pub fn stop_level(&self) -> &GoodEnough {
        &self.stop
    }

    /// The turns, or why there are none.
    ///
    /// # Errors
    /// [`NoAdvice`] where screws, response or measurement are missing.
    pub fn advice(&self) -> Result<&Advice, NoAdvice> {
        self.advice.as_ref().map_err(|no| *no)
    }

    /// Every way of holding the camera that fits, the heaviest first.
    pub fn orientations(&self) -> &[OrientationAnswer] {
        &self.orientations
    }

    /// What to do: stop, turn, try, or look again.
    pub fn verdict(&self) -> Verdict {
        let sound = self.findings().is_sound();
        match &self.advice {
            _ if !sound => Verdict::LookAgain,
            Ok(advice) => match advice.verdict(self.stop.stop_m) {
                Verdict::Turn if !self.step_is_sure(advice) => Verdict::Trial,
                verdict => verdict,
            },
            Err(NoAdvice::NotMeasured) => Verdict::LookAgain,
            // how the camera is held is what was asked for; the next frame decides
            Err(NoAdvice::CardOverRim) => Verdict::Trial,
            Err(NoAdvice::NoScrews | NoAdvice::NoResponse) => {
                if self.coma_is_below_stop() {
                    Verdict::Stop
                } else {
                    Verdict::Trial
                }
            }
        }
    }

    /// Whether the turn that is made now takes coma away however the camera may be held.
    fn step_is_sure(&self, advice: &Advice) -> bool {
        if let Some(plan) = self.plan {
            return plan.sure;
        }
        let step = advice.step(&self.instrument, self.stop.stop_m);
        let step = step.zip(self.instrument.assembly.as_ref());
        step.is_none_or(|(step, assembly)| self.takes_away(step.plane(assembly).tilt_rad))
    }

    /// Whether a tilt that is added takes coma away however the camera may be held.
    fn takes_away(&self, added_rad: [f64; 2]) -> bool {
        let counts = self.settings.orientation.weight_that_counts;
        self.tilt()
            .is_none_or(|tilt| helps(&tilt, &self.cases, added_rad, counts))
    }

    /// The tilt that was found, and what it was worked out with.
    fn tilt(&self) -> Option<FoundTilt> {
        let response = self.instrument.assembly.as_ref()?.response.as_ref()?;
        let advice = self.advice.as_ref().ok()?;
        Some(FoundTilt {
            tilt_rad: advice.found_rad,
            as_if: HoldCase {
                hold: self.instrument.camera.hold(),
                coma_m_per_rad: response.coma_m_per_rad,
                weight: 1.0,
            },
        })
    }

    /// The one next step.
    pub fn next(&self) -> NextStep {
        next_step(&self.findings(), self.verdict(), &self.instrument)
    }

    /// The record for programs (`skewstar-measure/2`).
    pub fn report(&self) -> MeasureReport {
        MeasureReport::new(&self.findings(), self.verdict(), &self.instrument)
    }

    /// What is seen, when to stop, and what to do, in sentences.
    pub fn words(&self) -> Vec<String> {
        let mut said = Vec::new();
        if let Some(star) = &self.star {
            said.extend(findings(star, &self.as_measured(), &self.stop));
        }
        if let Some(whole) = &self.whole_frame {
            said.push(whole.sentences());
        }
        if self.star.is_none() && !self.cards.is_empty() {
            said.extend(holds_in_words(&self.orientations));
        }
        let next = self.next();
        said.extend(match &self.advice {
            Ok(advice) => {
                let all_help = self.takes_away(advice.tilt_rad);
                step_and_rest(&next, advice, &self.instrument, all_help)
            }
            Err(_) => next.lines(),
        });
        said
    }

    /// Whether coma is known well enough to be below the stop level, where no turns can be worked out.
    fn coma_is_below_stop(&self) -> bool {
        let coma = self.star.as_ref().and_then(Measurement::coma);
        coma.map(|coma| coma.size_m())
            .is_some_and(|size| size.value + size.sigma.unwrap_or(f64::INFINITY) < self.stop.stop_m)
    }

    fn findings(&self) -> Findings<'_> {
        Findings {
            star: self.star.as_ref(),
            whole_frame: self.whole_frame.as_ref(),
            stop: Some(self.stop),
            advice: self.advice(),
            exposure_s: self.exposure_s,
            tilt: self.tilt(),
            cases: &self.cases,
            tried: &self.tried,
            plan: self.plan,
            cards: &self.cards,
            orientations: &self.orientations,
            weight_that_counts: self.settings.orientation.weight_that_counts,
            flags: &self.flags,
            settings: &self.settings.advice,
        }
    }
}

/// The instrument with a learned response laid over it, and the flags of the files with what the response leaves open.
fn with_response(
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
fn sighted(
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
struct Known<'a> {
    belief: &'a Belief,
    /// Numbers of those whose effect was seen.
    tried: &'a [usize],
    /// Numbers of those that cannot be turned.
    barred: &'a [usize],
}

/// The turn that told turns speak for, with coma as it was sighted.
fn planned(
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
fn per_rad_of(instrument: &Instrument) -> f64 {
    let assembly = instrument.assembly.as_ref();
    let response = assembly.and_then(|assembly| assembly.response.as_ref());
    response.map_or(1.0, |response| response.coma_m_per_rad)
}

/// Measures what was asked for: one star (of one frame or of two), or all of them.
fn look(
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
fn stop_level(
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
fn seen_orientations(
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
fn learned_orientations(
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
fn misaligned(
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
