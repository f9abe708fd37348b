//! Stars over a whole sensor: the frame, its truth, and stars at a raster of places for a person to compare.

use super::{Scene, SceneError};
use crate::axes::{FieldM, FramePx};
use crate::flag::{Flag, Flags};
use crate::instrument::Instrument;
use crate::mechanics::{align, coma_node_m};
use crate::pupil::{frame_px, to_field};
use crate::rng::Seed;
use crate::simulate::{Stamp, StarField, StarRecord, background, field_stars, stamp, star_field};
use crate::state::{FieldStar, FieldStars};
use crate::units::{ARCMIN, MM};
use serde::Serialize;
use std::collections::BTreeMap;

/// A rendered sensor.
pub struct SensorFrame {
    /// Counts and what is known of every star.
    pub field: StarField,
    /// The star of the scene at three rows of five places, lowest row first, on whole pixels.
    pub samples: Vec<Stamp>,
    /// Where the field has no coma, frame pixels: −k_tilt·t/k_field from the axis; `None` without field coma.
    pub coma_node_px: Option<FramePx>,
}

/// The truth of a field, as it is written (`skewstar-field/1`).
#[derive(Debug, Serialize)]
pub struct FieldTruth<'a> {
    /// `skewstar-field/1`.
    pub format: &'static str,
    /// Version of the program.
    pub version: &'static str,
    /// Title of the scenario.
    pub title: &'a str,
    /// Seed of places, magnitudes and noise.
    pub seed: u64,
    /// Checksum of the scenario's text and overrides.
    pub scenario_sha256: &'a str,
    /// Turns of each screw; positive lengthens.
    pub turns: BTreeMap<String, f64>,
    /// Tilt vector of the unit, pupil axes; it points at the raised edge.
    pub tilt_arcmin: [f64; 2],
    /// How far the unit sits aside, pupil axes.
    pub decentre_mm: [f64; 2],
    /// Tilt of the sensor against the unit, pupil axes; points at the edge that lies farther beyond focus.
    pub sensor_tilt_arcmin: [f64; 2],
    /// How much too far from the corrector the sensor stands.
    pub spacing_mm: f64,
    /// Where the field has no coma, frame pixels; `None` without field coma.
    pub coma_node_px: Option<FramePx>,
    /// Number of saturated pixels.
    pub saturated_px: usize,
    /// What is known of every star.
    pub stars: &'a [StarRecord],
    /// `saturated`, `light_cut_by_stamp`.
    pub flags: Flags,
}

/// A star that loses more light than this share beyond its stamp is told.
const LIGHT_IN_STAMP: f64 = 0.9;
/// The raster of sample places, in shares of the sensor's sides from its middle.
const ROWS: [f64; 3] = [-0.34, 0.0, 0.34];
const COLUMNS: [f64; 5] = [-0.4, -0.2, 0.0, 0.2, 0.4];

impl Scene {
    /// How many stars its sensor holds; `None` where it names none.
    pub fn star_count(&self) -> Option<usize> {
        Some(match self.stars.as_ref()? {
            FieldStars::Listed(stars) => stars.len(),
            FieldStars::Drawn { count, .. } => *count,
        })
    }

    /// Renders the whole sensor; `done` is called after each star, from any thread.
    ///
    /// # Errors
    /// [`SceneError::NoField`], [`SceneError::SeedMissing`], [`SceneError::Field`].
    pub fn field(&self, done: &(dyn Fn() + Sync)) -> Result<SensorFrame, SceneError> {
        let plan = self.stars.as_ref().ok_or(SceneError::NoField)?;
        let seed = Seed(self.provenance.seed.ok_or(SceneError::SeedMissing)?);
        let (instrument, state) = (&self.instrument, &self.state);
        let stars = field_stars(instrument, plan, seed);
        let field = star_field(instrument, state, &stars, seed, self.settings, done)?;
        Ok(SensorFrame {
            field,
            samples: self.samples()?,
            coma_node_px: coma_node_m(instrument, state).map(|node_m| frame_px(instrument, node_m)),
        })
    }

    /// The star of the scene at the raster of places.
    fn samples(&self) -> Result<Vec<Stamp>, SceneError> {
        let (instrument, state) = (&self.instrument, &self.state);
        let sky = background(instrument, state, self.settings)?;
        let magnitude = state.star.as_ref().map_or(0.0, |s| s.magnitude);
        let sample = |field_m| {
            let star = FieldStar {
                field_m,
                magnitude,
                temperature_k: None,
            };
            Ok(stamp(instrument, state, &star, &sky, self.settings)?)
        };
        sample_places(instrument).into_iter().map(sample).collect()
    }

    /// The truth of a sensor that this scene rendered.
    ///
    /// # Errors
    /// [`SceneError::SeedMissing`].
    pub fn field_truth<'a>(
        &'a self,
        sensor: &'a SensorFrame,
    ) -> Result<FieldTruth<'a>, SceneError> {
        let screws = self.instrument.assembly.iter().flat_map(|a| &a.screws);
        let field = &sensor.field;
        let saturated_px = field.frame.saturated_px;
        let cut = |star: &StarRecord| star.light_in_stamp < LIGHT_IN_STAMP;
        let flags = [
            (saturated_px > 0, Flag::Saturated),
            (field.stars.iter().any(cut), Flag::LightCutByStamp),
        ];
        Ok(FieldTruth {
            format: "skewstar-field/1",
            version: env!("CARGO_PKG_VERSION"),
            title: &self.provenance.title,
            seed: self.provenance.seed.ok_or(SceneError::SeedMissing)?,
            scenario_sha256: &self.provenance.scenario_sha256,
            turns: screws
                .zip(self.state.turns.iter())
                .map(|(screw, turns)| (screw.name.clone(), *turns))
                .collect(),
            tilt_arcmin: align(&self.instrument, &self.state)
                .plane
                .tilt_rad
                .map(|t| t / ARCMIN),
            decentre_mm: self.state.decentre_m.map(|d| d / MM),
            sensor_tilt_arcmin: self.state.sensor_tilt_rad.map(|t| t / ARCMIN),
            spacing_mm: self.state.spacing_m / MM,
            coma_node_px: sensor.coma_node_px,
            saturated_px,
            stars: &field.stars,
            flags: flags
                .into_iter()
                .filter_map(|(raised, flag)| raised.then_some(flag))
                .collect(),
        })
    }
}

/// Sample places in pupil axes, so that each star stands on a whole pixel of the frame.
fn sample_places(instrument: &Instrument) -> Vec<FieldM> {
    let camera = &instrument.camera;
    let across = |share: f64, side_px: usize| {
        let middle = 0.5 * (side_px as f64 - 1.0);
        (middle + share * side_px as f64).round() - middle
    };
    let place = |up: f64, right: f64| {
        let from_middle = [across(right, camera.width_px), across(up, camera.height_px)];
        to_field(
            instrument,
            FramePx::new(from_middle).in_metres(camera.pixel_m),
        )
    };
    ROWS.iter()
        .flat_map(|up| COLUMNS.map(|right| place(*up, right)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::MM;

    #[test]
    fn samples_lie_inside_the_sensor_on_whole_pixels() {
        let text = include_str!("../../tests/data/whole_scenario.toml");
        let scenario = crate::scenario::read(text, "whole.toml", &[]).expect("valid");
        let instrument = &scenario.instrument;
        for place in sample_places(instrument) {
            let column = frame_px(instrument, place)[0];
            assert!(
                (column - column.round()).abs() < 1e-6
                    && column > 0.0
                    && column < instrument.camera.width_px as f64
            );
        }
        assert!(sample_places(instrument)[0][0].abs() > 0.01 * MM);
    }
}
