//! A mask before it is printed: the star through it in focus, on both sides of focus and with single errors, beside what an eye and
//! a measuring program can see.

use super::{Scene, SceneError};
use crate::predict::{Settings, critical_focus_m};
use crate::preview::view::{PreviewExposure, Shows, SpikePlace, exposure, places, table};
use crate::state::{Modes, ScrewTurns, State};
use crate::units::{NM, UM};
use ndarray::Array2;
use serde::Serialize;

/// What is asked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PreviewOptions {
    /// The shift that an eye is trusted to see, pixels.
    pub eye_px: f64,
    /// Coma and astigmatism of the pictures, nm RMS.
    pub error_nm: f64,
    /// Defocus of the pictures; `None` for four critical focus zones.
    pub depth_um: Option<f64>,
}

impl Default for PreviewOptions {
    fn default() -> Self {
        PreviewOptions {
            eye_px: 0.3,
            error_nm: 100.0,
            depth_um: None,
        }
    }
}

/// What the mask shows, as `--json` prints it (`skewstar-mask-preview/1`).
#[derive(Debug, Clone, Serialize)]
pub struct MaskPreview {
    /// `skewstar-mask-preview/1`.
    pub format: &'static str,
    /// Title of the scene.
    pub title: String,
    /// The shift that an eye is trusted to see.
    pub eye_px: f64,
    /// Defocus of the pictures.
    pub depth_um: f64,
    /// Coma and astigmatism of the pictures, nm RMS.
    pub error_nm: f64,
    /// One row a mode: how far spikes move, and the least that is seen.
    pub shows: Vec<Shows>,
    /// Where spikes lie; empty for a drawing and for holes.
    pub spikes: Vec<SpikePlace>,
    /// A good exposure in focus; `None` in relative units.
    pub exposure: Option<PreviewExposure>,
    /// The star in focus, inside, outside, with coma and with astigmatism.
    #[serde(skip)]
    pub panels: Vec<PreviewPanel>,
}

/// A star and its caption.
#[derive(Debug, Clone)]
pub struct PreviewPanel {
    /// What is different in it.
    pub caption: String,
    /// Expected frame, element `[[row, column]]`, row 0 at the bottom.
    pub image: Array2<f64>,
}

/// Defocus of the pictures in critical focus zones, where it is not given.
const DEPTH_ZONES: f64 = 4.0;

impl Scene {
    /// The mask on an aligned telescope: turns, focus and aberrations of the scene's state are left out.
    ///
    /// # Errors
    /// [`SceneError::NoMask`]; as [`Scene::model`].
    pub fn mask_preview(&self, options: &PreviewOptions) -> Result<MaskPreview, SceneError> {
        self.mask()?;
        let aligned = self.aligned_behind_mask();
        let model = aligned.model()?;
        let ratio = self.instrument.telescope.focal_ratio();
        let zone_um = critical_focus_m(model.reference_m, ratio) / UM;
        let depth_um = options.depth_um.unwrap_or(DEPTH_ZONES * zone_um);
        let error_nm = options.error_nm;
        let focus = aligned.expected()?;
        let off = |offset_um: f64, mode: Option<u32>| -> Result<Array2<f64>, SceneError> {
            Ok(aligned
                .expected_of(&errs(&aligned.state, offset_um, mode, error_nm))?
                .image)
        };
        let panels = [
            (format!("{depth_um:.0} um inside"), off(-depth_um, None)?),
            (format!("{depth_um:.0} um outside"), off(depth_um, None)?),
            (format!("coma {error_nm:.0} nm"), off(0.0, Some(7))?),
            (format!("astigmatism {error_nm:.0} nm"), off(0.0, Some(6))?),
        ];
        let (instrument, state) = (&aligned.instrument, &aligned.state);
        Ok(MaskPreview {
            format: "skewstar-mask-preview/1",
            title: self.provenance.title.clone(),
            eye_px: options.eye_px,
            depth_um,
            error_nm,
            shows: table(instrument, state, options.eye_px, aligned.settings)?,
            spikes: places(instrument, model.reference_m),
            exposure: exposure(instrument, state, &focus),
            panels: std::iter::once(("at focus".to_owned(), focus.image))
                .chain(panels)
                .map(|(caption, image)| PreviewPanel { caption, image })
                .collect(),
        })
    }

    /// The same telescope aligned and in focus, its mask on, with the photon bound.
    fn aligned_behind_mask(&self) -> Scene {
        Scene {
            state: State {
                mask_on: true,
                sensor_offset_m: 0.0,
                turns: ScrewTurns::default(),
                modes: Modes::none(),
                ..self.state.clone()
            },
            settings: Settings {
                bound: true,
                ..self.settings
            },
            ..self.clone()
        }
    }
}

/// The state with one error.
fn errs(state: &State, offset_um: f64, mode: Option<u32>, error_nm: f64) -> State {
    let mut errs = State {
        sensor_offset_m: offset_um * UM,
        ..state.clone()
    };
    if let Some(noll) = mode {
        errs.modes.add(noll, error_nm * NM);
    }
    errs
}
