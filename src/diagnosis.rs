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

mod parts;

use crate::flag::Flags;
use crate::instrument::Instrument;
use crate::measure::learn::{Belief, LearnError, LearnedResponse, Sighting};
use crate::measure::orientation::{
    FoundTilt, HoldCase, OrientationAnswer, OrientationPrior, answers_of_prior, cases_of_frame,
    helps,
};
use crate::measure::{
    Advice, Aim, CardFrame, CardSeen, Findings, GoodEnough, MeasureError, MeasureOptions,
    MeasureReport, MeasureSettings, Measurement, NextStep, NoAdvice, Picture, Plan, Verdict,
    WholeFrame, advise, cards_seen, findings, holds_in_words, next_step, step_and_rest,
};
use crate::scenario::{ScenarioError, check_instrument};
use parts::{
    Known, learned_orientations, look, misaligned, per_rad_of, planned, seen_orientations, sighted,
    stop_level, with_response,
};

/// What is asked of a frame, and what is known beside it.
#[derive(Debug, Clone, Default)]
pub struct DiagnosisOptions<'a> {
    /// Mask, side, which star, its temperature, and the settings of everything that follows.
    pub measure: MeasureOptions,
    /// Frames that show a card held over the rim, two at most, on the side of focus of the frame at hand. Where the frame at hand is one of
    /// them, no star is measured. Cards that are known already are in [`MeasureOptions::cards`].
    pub cards: Vec<CardFrame<'a>>,
    /// A second frame of the same telescope at another focus.
    pub second: Option<&'a Picture>,
    /// Whether all stars of the frame are to be measured instead of one.
    pub whole_frame: bool,
    /// Whether what is wrong with the corners is read from the stars of the whole frame
    /// ([`corners`](crate::measure::WholeFrameOptions::corners) says how far that goes).
    pub corners: bool,
    /// Whether the second frame shows the whole field with the camera turned half round in its adapter.
    pub turned: bool,
    /// What the turns are to mend.
    pub aim: Aim,
    /// What trial turns taught; it is laid over what the instrument says.
    pub response: Option<&'a LearnedResponse>,
    /// The star in other frames of the same state, where several are put together ([`together`](crate::measure::together)): the uncertainty of coma then counts what
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

/// Cards as frames show them, and of those that were known before as many as there is room for, of other screws.
fn with_known(seen: [Option<CardSeen>; 2], known: [Option<CardSeen>; 2]) -> [Option<CardSeen>; 2] {
    let all = seen.into_iter().flatten();
    let others = known
        .into_iter()
        .flatten()
        .filter(|card| seen.iter().flatten().all(|new| new.screw != card.screw));
    let mut all = all.chain(others);
    [all.next(), all.next()]
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
        let known = options.measure.cards;
        let cards = match options.cards.is_empty() {
            true => known,
            false => {
                check_instrument(instrument)?;
                let seen = cards_seen(&options.cards, picture, instrument, &options.measure)?;
                with_known(seen, known)
            }
        };
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
