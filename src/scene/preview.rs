//! A mask before it is printed: the star through it in focus, on both sides of focus and with single errors, beside what an eye and
//! a measuring program can see.

use super::{Scene, SceneError};
use crate::mask::plate::Plate;
use crate::predict::{Settings, critical_focus_m};
use crate::preview::view::{MODES, Shows, table};
use crate::preview::visible::panels::{Panel, ShownWith, panels};
use crate::preview::visible::{Observer, Sees, SpikeSeen, ViewingConditions, aligned, visibility};
use crate::units::{NM, UM};
use serde::Serialize;

/// What is asked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PreviewOptions {
    /// Who looks.
    pub observer: Observer,
    /// Coma and astigmatism of the pictures, nm RMS.
    pub error_nm: f64,
    /// Defocus of the pictures; `None` for four critical focus zones.
    pub depth_um: Option<f64>,
}

impl Default for PreviewOptions {
    fn default() -> Self {
        PreviewOptions {
            observer: Observer::default(),
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
    /// The least of each error that an eye sees, read off pictures.
    pub sees: Vec<Sees>,
    /// The spikes, one a region or one a spike found in a drawing's star.
    pub spikes: Vec<SpikeSeen>,
    /// For which conditions.
    pub conditions: ViewingConditions,
    /// Coma of an eighth of a turn of one screw, nm RMS; `null` without screws and their response.
    pub eighth_turn_coma_nm: Option<f64>,
    /// Defocus of the pictures.
    pub depth_um: f64,
    /// Coma and astigmatism of the pictures, nm RMS.
    pub error_nm: f64,
    /// One row a mode: how far mean rays move spikes, what photons and atmosphere allow.
    pub shows: Vec<Shows>,
    /// The star in focus, inside, outside, with coma and with astigmatism.
    #[serde(skip)]
    pub panels: Vec<Panel>,
    /// The plate.
    #[serde(skip)]
    pub plate: Option<Plate>,
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
        let state = aligned(&self.state);
        let settings = Settings {
            bound: true,
            ..self.settings
        };
        let ratio = self.instrument.telescope.focal_ratio();
        let seen = visibility(&self.instrument, &state, options.observer, &MODES, settings)?;
        let seen = seen.ok_or(SceneError::NoMask)?;
        let zone_um = critical_focus_m(seen.conditions.reference_nm * NM, ratio) / UM;
        let depth_um = options.depth_um.unwrap_or(DEPTH_ZONES * zone_um);
        let shown = shown(depth_um, options.error_nm);
        let panels = panels(&self.instrument, &state, &shown, settings)?;
        Ok(MaskPreview {
            format: "skewstar-mask-preview/1",
            title: self.provenance.title.clone(),
            sees: seen.sees,
            spikes: seen.spikes,
            eighth_turn_coma_nm: self.eighth_turn_coma_nm(seen.conditions.reference_nm * NM),
            conditions: seen.conditions,
            depth_um,
            error_nm: options.error_nm,
            shows: table(&self.instrument, &state, settings)?,
            panels: panels.unwrap_or_default(),
            plate: Plate::new(&self.instrument),
        })
    }

    /// The coma that an eighth of a turn of a screw makes, of the screw that makes most.
    fn eighth_turn_coma_nm(&self, reference_m: f64) -> Option<f64> {
        let screws = self.screws_told(reference_m).into_iter();
        screws
            .map(|s| s.coma_nm_per_eighth)
            .filter(|nm| *nm > 0.0)
            .reduce(f64::max)
    }
}

/// The star of each panel.
fn shown(depth_um: f64, error_nm: f64) -> [ShownWith; 5] {
    let with = |caption: String, offset_um: f64, mode: Option<(u32, f64)>| ShownWith {
        caption,
        offset_um,
        mode,
    };
    [
        with("in focus".into(), 0.0, None),
        with(format!("{depth_um:.0} um inside focus"), -depth_um, None),
        with(format!("{depth_um:.0} um outside focus"), depth_um, None),
        with(format!("coma {error_nm:.0} nm"), 0.0, Some((7, error_nm))),
        with(
            format!("astigmatism {error_nm:.0} nm"),
            0.0,
            Some((6, error_nm)),
        ),
    ]
}
