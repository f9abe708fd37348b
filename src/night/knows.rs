//! What is known by now of how the camera is held and of what each screw does to the picture.

use crate::instrument::{Instrument, Orientation};
use crate::measure::learn::LearnedResponse;
use crate::predict::dark_shift_per_coma;
use crate::pupil::axes_of;
use crate::units::DEG;
use serde::Serialize;
use std::collections::BTreeMap;

/// What is known; how well, is in its words.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Knows {
    /// `known` where it was typed so, or where turns of two screws left one answer; else `assumed`.
    pub orientation: &'static str,
    /// Azimuth of the sensor's columns in pupil axes: learned, else typed.
    pub rotation_deg: f64,
    /// Whether the columns are flipped: learned, else typed.
    pub mirrored: bool,
    /// `typed`, `traced` or `learned`; `None` where nothing says what a tilt does.
    pub response: Option<&'static str>,
    /// Micrometres of focus in one step of its motor, by frames before and after `focused "+120 steps"`, outwards positive on the side that
    /// was told; `None` where none was told.
    pub um_per_step: Option<f64>,
    /// What each screw that was turned does.
    pub screws: BTreeMap<String, ScrewArrow>,
}

/// The arrow of a screw in the picture.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ScrewArrow {
    /// How far the dark centre moves from the ring's centre when the screw is turned by an eighth clockwise facing its head; frame axes.
    pub px_per_eighth: [f64; 2],
    /// Standard deviation of either.
    pub sigma_px: f64,
}

impl Knows {
    /// What a learned response and the instrument say.
    pub fn of(instrument: &Instrument, learned: Option<&LearnedResponse>, traced: bool) -> Knows {
        let typed = instrument.camera.hold();
        let assembly = instrument.assembly.as_ref();
        let has_response = assembly.is_some_and(|assembly| assembly.response.is_some());
        let settled = learned.is_some_and(|learned| learned.holds.len() == 1);
        let is_known = settled || instrument.camera.orientation == Orientation::Known;
        let response = match (learned, has_response, traced) {
            (Some(_), ..) => Some("learned"),
            (None, true, true) => Some("traced"),
            (None, true, false) => Some("typed"),
            (None, false, _) => None,
        };
        Knows {
            orientation: if is_known { "known" } else { "assumed" },
            rotation_deg: learned.map_or(typed.rotation_rad, |l| l.rotation_rad.value) / DEG,
            mirrored: learned.map_or(typed.mirrored, |l| l.mirrored),
            response,
            um_per_step: None,
            screws: learned.map_or_else(BTreeMap::new, |learned| arrows(instrument, learned)),
        }
    }
}

/// Coma of one turn in pupil axes of the learned camera → the dark centre's way in the picture.
fn arrows(instrument: &Instrument, learned: &LearnedResponse) -> BTreeMap<String, ScrewArrow> {
    let telescope = &instrument.telescope;
    let px_per_m = dark_shift_per_coma(telescope.focal_ratio(), telescope.obstruction_ratio())
        / instrument.camera.pixel_m;
    let clockwise = instrument
        .assembly
        .as_ref()
        .map_or(1.0, |a| a.clockwise.sign());
    let mut hold = instrument.camera.hold();
    hold.rotation_rad = learned.rotation_rad.value;
    hold.mirrored = learned.mirrored;
    let arrow = |coma: &crate::state::Coma| ScrewArrow {
        px_per_eighth: axes_of(hold)
            .forward(coma.xy_m())
            .map(|m| clockwise * m * px_per_m / 8.0),
        sigma_px: coma.sigma_per_axis_m().unwrap_or(0.0) * px_per_m / 8.0,
    };
    let screws = learned.screws.iter();
    screws
        .map(|screw| (screw.name.clone(), arrow(&screw.coma_per_turn)))
        .collect()
}
