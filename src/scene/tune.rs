//! Better numbers for a mask: candidates judged on the scene's telescope, the best of them varied, and each shown with single
//! errors.

use super::{Scene, SceneError};
use crate::instrument::Instrument;
use crate::preview::search::{
    Candidate, Refinement, SpikeReader, TIE, TunePurpose, candidates, derive, judge, seen_by_eye,
    variations,
};
use crate::preview::view::MODES;
use crate::preview::visible::panels::{Panel, ShownWith, panels};
use crate::preview::visible::{Observer, ViewingConditions, visibility};

/// What is looked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TuneOptions {
    /// Which errors the mask is to show.
    pub purpose: TunePurpose,
    /// Who reads its spikes.
    pub reader: SpikeReader,
}

/// What a search found.
#[derive(Debug, Clone)]
pub struct Tuned {
    /// The best that can be printed, with everything that they show: all that differ by less than [`TIE`] from the best of them, better
    /// first. Empty where none shows what it is for.
    pub best: Vec<Candidate>,
    /// All that were judged, better first.
    pub judged: Vec<Candidate>,
    /// For which conditions; `None` where photons were counted.
    pub conditions: Option<ViewingConditions>,
}

impl Scene {
    /// About how many masks a search judges, for showing how far it is.
    ///
    /// # Errors
    /// [`SceneError::NoMask`].
    pub fn masks_to_judge(&self) -> Result<usize, SceneError> {
        /// About as many masks are tried round the best of the list.
        const VARIATIONS: usize = 9;
        let design = self.instrument.mask.as_ref().ok_or(SceneError::NoMask)?;
        Ok(candidates(&self.instrument, &self.state, design).len() + VARIATIONS)
    }

    /// Judges the candidates, then variations of the best; better first. `done` is called after each mask. What `mask check` calls serious is
    /// never among the best.
    ///
    /// # Errors
    /// [`SceneError::NoMask`]; [`SceneError::NoCounts`] where a program is to read a star whose photons are not known; as
    /// [`Scene::model`].
    pub fn mask_tune(&self, options: &TuneOptions, done: &dyn Fn()) -> Result<Tuned, SceneError> {
        let design = self.instrument.mask.as_ref().ok_or(SceneError::NoMask)?;
        if options.reader == SpikeReader::Photons && !self.gives_counts() {
            return Err(SceneError::NoCounts);
        }
        let derived = derive(&self.instrument, &self.state, design);
        let merit = |candidate: &Candidate| candidate.merit_nm(options.purpose);
        let better = |a: &Candidate, b: &Candidate| merit(a).total_cmp(&merit(b));
        let mut judged: Vec<Candidate> = Vec::new();
        let mut trials = candidates(&self.instrument, &self.state, design);
        let mut refinements = Refinement::ALL.into_iter();
        while !trials.is_empty() {
            for trial in std::mem::take(&mut trials) {
                let reads = (options.reader, options.purpose);
                judged.push(judge(
                    &self.instrument,
                    &self.state,
                    reads,
                    trial,
                    self.settings,
                )?);
                done();
            }
            let own = judged.iter().filter(|c| !c.customary);
            let best = own.min_by(|a, b| better(a, b));
            while let (Some(best), true, Some(what)) = (best, trials.is_empty(), refinements.next())
            {
                trials = variations(best, &derived, what);
                trials.retain(|t| judged.iter().all(|c| c.design != t.2));
            }
        }
        judged.sort_by(better);
        let best = self.best_of(&judged, options)?;
        Ok(Tuned {
            conditions: self.conditions_of(best.first().unwrap_or(&judged[0]), options)?,
            best,
            judged,
        })
    }

    /// The best that can be printed and all that are as good, each with everything it shows.
    fn best_of(
        &self,
        judged: &[Candidate],
        options: &TuneOptions,
    ) -> Result<Vec<Candidate>, SceneError> {
        let merit = |candidate: &Candidate| candidate.merit_nm(options.purpose);
        let shown = judged.iter().filter(|c| merit(c).is_finite());
        let mut best: Vec<Candidate> = Vec::new();
        for candidate in shown {
            let tied = best
                .first()
                .is_none_or(|first| merit(candidate) <= (1.0 + TIE) * merit(first));
            if !tied {
                break;
            }
            if candidate.sound(&self.instrument) {
                best.push(candidate.clone());
            }
        }
        if let SpikeReader::Eye(eye_px) = options.reader {
            for candidate in &mut best {
                let worn = self.wearing(candidate);
                candidate.sees = seen_by_eye(&worn, &self.state, eye_px, &MODES, self.settings)?;
            }
        }
        Ok(best)
    }

    fn wearing(&self, mask: &Candidate) -> Instrument {
        Instrument {
            mask: Some(mask.design.clone()),
            ..self.instrument.clone()
        }
    }

    fn conditions_of(
        &self,
        mask: &Candidate,
        options: &TuneOptions,
    ) -> Result<Option<ViewingConditions>, SceneError> {
        let SpikeReader::Eye(eye_px) = options.reader else {
            return Ok(None);
        };
        let observer = Observer {
            eye_px,
            ..Observer::default()
        };
        let seen = visibility(
            &self.wearing(mask),
            &self.state,
            observer,
            &[],
            self.settings,
        )?;
        Ok(seen.map(|v| v.conditions))
    }

    /// The star behind another mask, in focus and with single errors.
    ///
    /// # Errors
    /// As [`Scene::model`].
    pub fn behind(&self, mask: &Candidate) -> Result<Vec<Panel>, SceneError> {
        let with = |caption: &str, mode: Option<(u32, f64)>| ShownWith {
            caption: caption.to_owned(),
            offset_um: 0.0,
            mode,
        };
        let errors = [
            with("in focus", None),
            with("focus 100 nm", Some((4, 100.0))),
            with("coma 100 nm", Some((7, 100.0))),
        ];
        let shown = panels(&self.wearing(mask), &self.state, &errors, self.settings)?;
        Ok(shown.unwrap_or_default())
    }
}
