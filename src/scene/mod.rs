//! The way out, in one value: a telescope and how far it is out of line, checked once, and everything that can be asked of it.
//!
//! [`Scene::new`] checks instrument and state by the rules of a scenario file, whoever made them; what it hands out afterwards
//! is trusted. Nothing is computed before it is asked for, and nothing is kept: a scene is plain data with its checks done.
//!
//! | question | call |
//! |---|---|
//! | the light in every pixel, derivatives, sampling | [`Scene::model`] |
//! | the frame to expect, before any chance | [`Scene::expected`] |
//! | a frame as the camera records it, and its truth | [`Scene::star`] |
//! | where the spikes of a masked star lie | [`Scene::spikes`] |
//! | stars over a whole sensor | [`Scene::field`] |
//! | scale, critical focus zone, saturation: what follows | [`Scene::consequences`] |
//! | a mask before it is printed | [`Scene::mask_preview`], [`Scene::mask_findings`], [`Scene::mask_tune`] |
//!
//! ```
//! use skewstar::Scene;
//! use skewstar::instrument::{Camera, Instrument, Obstruction, Passband, Telescope};
//! use skewstar::state::State;
//! use skewstar::units::{MM, NM, UM};
//!
//! let mut instrument = Instrument::new(
//!     Telescope::new(120.0 * MM, 360.0 * MM),
//!     Camera::new(3.0 * UM, [48, 40], Passband::Band([500.0 * NM, 600.0 * NM])),
//! );
//! instrument.camera.wavelengths = Some(3);
//! let state = State { sensor_offset_m: 120.0 * UM, ..State::default() };
//! let expected = Scene::new(instrument.clone(), state.clone())?.expected()?;
//! assert_eq!(expected.image.dim(), (40, 48));                // [[row, column]], row 0 at the bottom
//!
//! // What cannot be meant is refused with the path of its field, not rendered.
//! instrument.telescope.obstruction = Some(Obstruction::disc(-50.0 * MM));
//! let refused = Scene::new(instrument, state).unwrap_err();
//! assert!(refused.to_string().contains("telescope.obstruction.diameter_mm"), "{refused}");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod consequences;
mod error;
mod implausible;
mod preview;
mod sensor;
mod tune;
mod turns;

pub use crate::predict::{NM_RMS_IN_WORDS, QUARTER_WAVE};
pub use consequences::{Consequences, Leaning, TracedColour, TracedEdge, TracedNumbers};
pub use error::SceneError;
pub use preview::{MaskPreview, PreviewOptions};
pub use sensor::{FieldTruth, SensorFrame};
pub use tune::{TuneOptions, Tuned};
pub use turns::{EnoughTold, ScrewTold};

use crate::instrument::{Instrument, MaskDesign};
use crate::mechanics::Flexure;
use crate::mechanics::prescription::Derived;
use crate::predict::{Expected, Model, Settings, Spike, spikes};
use crate::preview::check::{Finding, findings};
use crate::rng::FrameChance;
use crate::scenario::{Scenario, check_parts};
use crate::simulate::{Provenance, Simulation, simulate};
use crate::state::{FieldStars, State};

/// A telescope, how far it is out of line, and how exactly it is to be computed.
#[derive(Debug, Clone)]
pub struct Scene {
    instrument: Instrument,
    state: State,
    provenance: Provenance,
    stars: Option<FieldStars>,
    traced: Option<Derived>,
    flexure: Option<Flexure>,
    settings: Settings,
}

impl Scene {
    /// Checks instrument and state and puts them together.
    ///
    /// # Errors
    /// [`SceneError::Refused`] with the path of the first field that cannot be meant, its value, what is allowed, and a hint.
    pub fn new(instrument: Instrument, state: State) -> Result<Scene, SceneError> {
        check_parts(&instrument, &state)?;
        Ok(Scene {
            instrument,
            state,
            provenance: Provenance::default(),
            stars: None,
            traced: None,
            flexure: None,
            settings: Settings::default(),
        })
    }

    /// The scene of a scenario: with its title, its seed, its checksum, and the stars of its whole sensor.
    ///
    /// # Errors
    /// As [`Scene::new`]; a scenario that names a drawing must have read it ([`files::scenario`](crate::files::scenario) does).
    pub fn of(scenario: Scenario) -> Result<Scene, SceneError> {
        let scene = Scene::new(scenario.instrument, scenario.state)?;
        Ok(Scene {
            provenance: Provenance {
                title: scenario.title,
                seed: scenario.seed,
                scenario_sha256: scenario.sha256,
                chance: None,
            },
            stars: scenario.field,
            traced: scenario.traced,
            flexure: scenario.flexure,
            ..scene
        })
    }

    /// The same scene computed otherwise.
    pub fn with_settings(self, settings: Settings) -> Scene {
        Scene { settings, ..self }
    }

    /// The same scene with another seed, 0 to 2^53 − 1, for everything random.
    pub fn with_seed(mut self, seed: u64) -> Scene {
        self.provenance.seed = Some(seed);
        self
    }

    /// The same scene with chance from elsewhere than its seed, which only stands in the truth then.
    pub fn with_chance(mut self, chance: FrameChance) -> Scene {
        self.provenance.chance = Some(chance);
        self
    }

    /// The same scene under another title.
    pub fn with_title(mut self, title: impl Into<String>) -> Scene {
        self.provenance.title = title.into();
        self
    }

    /// What the owner knows.
    pub fn instrument(&self) -> &Instrument {
        &self.instrument
    }

    /// What is hidden.
    pub fn state(&self) -> &State {
        &self.state
    }

    /// Title, seed and checksum.
    pub fn provenance(&self) -> &Provenance {
        &self.provenance
    }

    /// Whether it gives electrons and counts: both star and exposure are given. Else everything is in shares of the light.
    pub fn gives_counts(&self) -> bool {
        self.state.star.is_some() && self.state.exposure.is_some()
    }

    /// The prepared model: pupil, sampling, spectrum.
    ///
    /// # Errors
    /// [`SceneError::Predict`] when no light passes or the job does not fit in memory.
    pub fn model(&self) -> Result<Model, SceneError> {
        Ok(Model::new(&self.instrument, &self.state, self.settings)?)
    }

    /// The frame to expect before any chance: electrons, or shares of the light.
    ///
    /// # Errors
    /// As [`Scene::model`].
    pub fn expected(&self) -> Result<Expected, SceneError> {
        self.expected_of(&self.state)
    }

    /// The same in another state of the same instrument.
    fn expected_of(&self, state: &State) -> Result<Expected, SceneError> {
        let model = Model::new(&self.instrument, state, self.settings)?;
        Ok(Expected::new(
            &model,
            &self.instrument,
            state,
            self.settings,
        )?)
    }

    /// The star: expected frame, counts where there are a star, an exposure and a seed, and the truth.
    ///
    /// # Errors
    /// [`SceneError::SeedMissing`] where counts need a seed; as [`Scene::model`].
    pub fn star(&self) -> Result<Simulation, SceneError> {
        if self.gives_counts() && self.provenance.seed.is_none() {
            return Err(SceneError::SeedMissing);
        }
        let provenance = Provenance {
            seed: self.provenance.seed.filter(|_| self.gives_counts()),
            ..self.provenance.clone()
        };
        Ok(simulate(
            &self.instrument,
            &self.state,
            &provenance,
            self.settings,
        )?)
    }

    /// Where the spike of each region of the mask lies, by the region's mean ray; empty without a mask in front.
    ///
    /// # Errors
    /// As [`Scene::model`].
    pub fn spikes(&self) -> Result<Vec<Spike>, SceneError> {
        let wavefront = self.model()?.reference_wavefront();
        Ok(spikes(&self.instrument, &self.state, &wavefront))
    }

    /// The mask, whether it is on or not.
    ///
    /// # Errors
    /// [`SceneError::NoMask`].
    pub fn mask(&self) -> Result<&MaskDesign, SceneError> {
        self.instrument.mask.as_ref().ok_or(SceneError::NoMask)
    }

    /// Whether the mask can be printed: every finding with its number and its limit.
    ///
    /// # Errors
    /// [`SceneError::NoMask`].
    pub fn mask_findings(&self) -> Result<Vec<Finding>, SceneError> {
        findings(&self.instrument).ok_or(SceneError::NoMask)
    }
}
