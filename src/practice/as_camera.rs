//! Frames of a drill as a capture program writes them: by the whole model, with noise, and without a word about what is hidden.
//!
//! The pictures of [`Eye`](super::Eye) are quick ones for a person to look at; what is measured is rendered here as `render` does it.

use super::level::Level;
use super::quirks::Quirks;
use super::session::Session;
use crate::frame::Frame;
use crate::instrument::{Screw, Vane};
use crate::rng::{LARGEST_SEED, Seed};
use crate::scene::{Scene, SceneError};

/// One frame to take.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Shot<'a> {
    /// Its number in the folder: every frame has its own noise, atmosphere and clouds.
    pub number: u64,
    /// The screw over whose place at the rim a card is held.
    pub card: Option<&'a str>,
}

/// A card is held over the outer part of the beam: from this share of the aperture's radius to the rim.
const CARD_FROM: f64 = 0.68;
/// As wide as this share of the radius.
const CARD_WIDTH: f64 = 0.5;
/// What a cloud takes, magnitudes.
const CLOUD_MAG: f64 = 9.0;

/// Exposes a frame of the session as it stands.
///
/// # Errors
/// [`SceneError`] as [`Scene::star`]; [`SceneError::NoCounts`] where the telescope has no star, no exposure or no electronics.
pub fn camera_frame(session: &Session, shot: Shot) -> Result<Frame, SceneError> {
    let mut real = session.instrument().clone();
    let radius_m = 0.5 * real.telescope.aperture_m;
    if let Some(screw) = shot.card.and_then(|name| held_at(session, name)) {
        real.telescope.vanes.push(Vane {
            azimuth_rad: screw.azimuth_rad,
            width_m: CARD_WIDTH * radius_m,
            inner_radius_m: CARD_FROM * radius_m,
            outer_radius_m: radius_m,
            offset_m: 0.0,
        });
    }
    let mut state = session.state();
    let cloudy = session.level() == Level::Night && Quirks::cloud(session.seed(), shot.number);
    if let Some(star) = state.star.as_mut().filter(|_| cloudy) {
        star.magnitude += CLOUD_MAG;
    }
    let Seed(drill) = session.seed();
    let seed = drill.wrapping_add(1 + shot.number) & LARGEST_SEED;
    let scene = Scene::new(real, state)?.with_seed(seed);
    scene.star()?.frame.ok_or(SceneError::NoCounts)
}

/// The screw where it really stands.
fn held_at<'a>(session: &'a Session, name: &str) -> Option<&'a Screw> {
    let assembly = session.instrument().assembly.as_ref()?;
    assembly.screws.iter().find(|screw| screw.name == name)
}
