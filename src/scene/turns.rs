//! What a turn of each screw does to the star, before anybody takes a wrench: place, tilt, coma, how far star and dark centre move, and how
//! finely it has to be set.

use super::Scene;
use crate::frame::hour;
use crate::instrument::{Assembly, Instrument, Response};
use crate::measure::{GoodEnough, MeasureSettings, good_enough};
use crate::mechanics::{plane_of, turned};
use crate::predict::{ComaScale, ORDINARY_SEEING_RAD};
use crate::units::{ARCMIN, DEG, NM, UM};
use serde::Serialize;

/// A screw and what an eighth of a turn of it does.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ScrewTold {
    /// Its letter.
    pub name: String,
    /// Where it stands, pupil axes.
    pub azimuth_deg: f64,
    /// The hour at which somebody sees it who stands in front of the telescope and faces it.
    pub front_hour: u32,
    /// How far an eighth of a turn tilts the unit.
    pub tilt_arcmin_per_eighth: f64,
    /// The coma of that, RMS.
    pub coma_nm_per_eighth: f64,
    /// How far the star moves on the sensor.
    pub star_px_per_eighth: f64,
    /// How far a doughnut's dark centre moves in its ring: 6N·W131·(1 − ε²); `None` without an obstruction.
    pub dark_centre_px_per_eighth: Option<f64>,
    /// How far the middle of the sensor moves out of focus with it.
    pub focus_um_per_eighth: f64,
    /// How closely the wrench has to be set so that what is left is good enough; `None` where a turn makes no coma.
    pub tolerance_deg: Option<f64>,
}

const EIGHTH: f64 = 0.125;

/// When coma is good enough on this telescope, by the scale of [`ComaScale`].
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EnoughTold {
    /// Below this nothing is to be gained, nm RMS: the largest of what nobody sees, what the atmosphere makes and what a hand can set.
    pub good_enough_nm: f64,
    /// What an amount of coma looks like.
    pub scale: ComaScale,
}

impl Scene {
    /// When to stop, under the scene's seeing.
    pub(super) fn enough_told(&self, reference_m: f64) -> EnoughTold {
        let stop = self.stop_level(reference_m);
        EnoughTold {
            good_enough_nm: stop.stop_m / NM,
            scale: stop.scale,
        }
    }

    fn stop_level(&self, reference_m: f64) -> GoodEnough {
        good_enough(
            &self.instrument,
            self.state.sky.seeing_rad.unwrap_or(ORDINARY_SEEING_RAD),
            self.state.exposure.as_ref().map(|e| e.time_s),
            reference_m,
            &MeasureSettings::default().advice,
        )
    }

    /// The screws in their order; empty without screws or a response.
    pub(super) fn screws_told(&self, reference_m: f64) -> Vec<ScrewTold> {
        let instrument = &self.instrument;
        let Some(assembly) = &instrument.assembly else {
            return Vec::new();
        };
        let Some(response) = &assembly.response else {
            return Vec::new();
        };
        let stop_m = self.stop_level(reference_m).stop_m;
        (0..assembly.screws.len())
            .map(|screw| told(instrument, assembly, response, screw, stop_m))
            .collect()
    }
}

fn told(
    instrument: &Instrument,
    assembly: &Assembly,
    response: &Response,
    screw: usize,
    stop_m: f64,
) -> ScrewTold {
    let telescope = &instrument.telescope;
    let plane = plane_of(assembly, &turned(assembly, screw, EIGHTH));
    let tilt_rad = plane.tilt_rad[0].hypot(plane.tilt_rad[1]);
    let coma_m = (response.coma_m_per_rad * tilt_rad).abs();
    let pixel_m = instrument.camera.pixel_m;
    let ratio = telescope.obstruction_ratio();
    // W131 is √72 times the RMS coefficient
    let dark_m = 6.0 * telescope.focal_ratio() * 72f64.sqrt() * coma_m * (1.0 - ratio * ratio);
    let azimuth_rad = assembly.screws[screw].azimuth_rad;
    ScrewTold {
        name: assembly.screws[screw].name.clone(),
        azimuth_deg: azimuth_rad / DEG,
        front_hour: hour(telescope.front_rad(azimuth_rad) / DEG),
        tilt_arcmin_per_eighth: tilt_rad / ARCMIN,
        coma_nm_per_eighth: coma_m / NM,
        star_px_per_eighth: (response.image_shift_m_per_rad * tilt_rad).abs() / pixel_m,
        dark_centre_px_per_eighth: telescope.obstruction.as_ref().map(|_| dark_m / pixel_m),
        focus_um_per_eighth: plane.piston_m * response.focus_m_per_m / UM,
        tolerance_deg: (coma_m > 0.0).then(|| 360.0 * EIGHTH * stop_m / coma_m),
    }
}
