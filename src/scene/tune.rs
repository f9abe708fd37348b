//! Better numbers for a mask: candidates judged on the scene's telescope, the best of them varied, and each shown with single
//! errors.

use super::{Scene, SceneError};
use crate::instrument::Instrument;
use crate::preview::search::{
    Candidate, Refinement, SpikeReader, TunePurpose, candidates, judge, variations,
};
use crate::state::{Modes, State};
use crate::units::NM;
use ndarray::Array2;

/// What is looked for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TuneOptions {
    /// Which errors the mask is to show.
    pub purpose: TunePurpose,
    /// Who reads its spikes.
    pub reader: SpikeReader,
}

/// An error that a mask is shown with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShownError {
    /// What it is called.
    pub caption: &'static str,
    /// Noll index.
    pub noll: u32,
    /// nm RMS.
    pub amount_nm: f64,
}

impl ShownError {
    const fn new(caption: &'static str, noll: u32, amount_nm: f64) -> ShownError {
        ShownError {
            caption,
            noll,
            amount_nm,
        }
    }

    /// Those of the picture, the first without an error.
    pub const ALL: [ShownError; 4] = [
        ShownError::new("no error", 4, 0.0),
        ShownError::new("focus 100 nm", 4, 100.0),
        ShownError::new("coma 100 nm", 7, 100.0),
        ShownError::new("coma 300 nm", 7, 300.0),
    ];
}

impl Scene {
    /// About how many masks a search judges, for showing how far it is.
    ///
    /// # Errors
    /// [`SceneError::NoMask`].
    pub fn masks_to_judge(&self) -> Result<usize, SceneError> {
        /// About as many masks are tried round the best of the list.
        const VARIATIONS: usize = 12;
        let design = self.instrument.mask.as_ref().ok_or(SceneError::NoMask)?;
        Ok(candidates(design).len() + VARIATIONS)
    }

    /// Judges the candidates, then variations of the best; best first. `done` is called after each mask.
    ///
    /// # Errors
    /// [`SceneError::NoMask`]; [`SceneError::NoCounts`] where a program is to read a star whose photons are not known; as
    /// [`Scene::model`].
    pub fn mask_tune(
        &self,
        options: &TuneOptions,
        done: &dyn Fn(),
    ) -> Result<Vec<Candidate>, SceneError> {
        let design = self.instrument.mask.as_ref().ok_or(SceneError::NoMask)?;
        if options.reader == SpikeReader::Photons && !self.gives_counts() {
            return Err(SceneError::NoCounts);
        }
        let merit = |candidate: &Candidate| candidate.merit_nm(options.purpose);
        let better = |a: &Candidate, b: &Candidate| merit(a).total_cmp(&merit(b));
        let mut judged: Vec<Candidate> = Vec::new();
        let mut trials = candidates(design);
        let mut refinements = Refinement::ALL.into_iter();
        while !trials.is_empty() {
            for trial in std::mem::take(&mut trials) {
                judged.push(judge(
                    &self.instrument,
                    &self.state,
                    options.reader,
                    trial,
                    self.settings,
                )?);
                done();
            }
            let best = judged.iter().min_by(|a, b| better(a, b));
            while let (Some(best), true, Some(what)) = (best, trials.is_empty(), refinements.next())
            {
                trials = variations(best, what);
            }
        }
        judged.sort_by(better);
        Ok(judged)
    }

    /// The star behind another mask with each of [`ShownError::ALL`], in their order: expected frames, element
    /// `[[row, column]]`, row 0 at the bottom.
    ///
    /// # Errors
    /// As [`Scene::model`].
    pub fn behind(&self, mask: &Candidate) -> Result<Vec<Array2<f64>>, SceneError> {
        let own = Scene {
            instrument: Instrument {
                mask: Some(mask.design.clone()),
                ..self.instrument.clone()
            },
            ..self.clone()
        };
        let star = |error: &ShownError| {
            let modes: Modes = [(error.noll, error.amount_nm * NM)].into_iter().collect();
            let state = State {
                mask_on: true,
                sensor_offset_m: 0.0,
                modes,
                ..self.state.clone()
            };
            Ok(own.expected_of(&state)?.image)
        };
        ShownError::ALL.iter().map(star).collect()
    }
}
