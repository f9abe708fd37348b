//! An instrument without typing: what a file's header says, what its doughnut shows, and what only a person can say.
//!
//! | file | what it holds |
//! |---|---|
//! | `mod.rs` | [`FirstFrame`]: header and doughnut of one frame |
//! | `answers.rs` | [`Answers`]: what the owner says, and [`Lacking`]: what is still to be asked |
//! | `text.rs` | the scenario as a commented text: each number with where it comes from |
//!
//! Edges of the doughnut give the size of the obstruction, dips round it the shadows; a fit with the whole model then puts both right
//! (`text.rs`). How the unit's screws stand to a shadow is in no picture: it is asked, never assumed, since a wrong answer would turn every
//! arrow.

mod answers;
mod text;

pub use answers::{Answers, Lacking};
pub use text::{FirstScenario, FirstScenarioError};

use crate::files::{self, FileError};
use crate::image_io::reading::Reading;
use crate::measure::settings::{FindingSettings, RingSettings};
use crate::measure::{FrameError, Ring, SECTORS, Search, Source, Stars, ring};
use ndarray::Array2;
use std::f64::consts::{PI, TAU};
use std::path::Path;

/// A shadow across the ring.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeenShadow {
    /// Direction from the middle of the ring, frame axes.
    pub direction_rad: f64,
    /// Its width as a share of the outer diameter, by the light that is missing.
    pub width_share: f64,
}

/// What one frame says of its telescope and camera.
#[derive(Debug, Clone)]
pub struct FirstFrame {
    /// The file's name, for comments and messages.
    pub name: String,
    /// What was read.
    pub reading: Reading,
    /// Radius of the doughnut's outer edge.
    pub outer_radius_px: f64,
    /// Radius of its dark middle over that of its outer edge; `None` where there is none.
    pub obstruction_ratio: Option<f64>,
    /// Shadows of vanes, deepest first.
    pub shadows: Vec<SeenShadow>,
    /// Level of the sky and the bias together, counts.
    pub background_adu: f64,
}

/// Why a frame says too little.
#[derive(Debug, thiserror::Error)]
pub enum FirstFrameError {
    /// The file.
    #[error(transparent)]
    File(#[from] FileError),
    /// No star.
    #[error("{name}: {reason}")]
    Frame {
        /// The file.
        name: String,
        /// Why.
        reason: FrameError,
    },
    /// A star that hardly stands out.
    #[error(
        "{name}: a pixel of the brightest star is {sigmas:.1} times the noise of the background, and must be at least {least:.0} times"
    )]
    Faint {
        /// The file.
        name: String,
        /// Its mean light within the ring, over the noise of a pixel.
        sigmas: f64,
        /// Least that is taken.
        least: f64,
    },
    /// A star, but no ring.
    #[error(
        "{name}: the brightest star is {radius_px:.0} px in radius and shows no ring with clear edges"
    )]
    NoRing {
        /// The file.
        name: String,
        /// Radius of the circle that holds half of its light.
        radius_px: f64,
    },
}

impl FirstFrameError {
    /// What to do next.
    pub fn hint(&self) -> &str {
        match self {
            FirstFrameError::File(error) => error.hint(),
            FirstFrameError::Frame { reason, .. } => reason.hint(),
            FirstFrameError::Faint { .. } => {
                "was there a cloud? take another frame, or a brighter star; it must not be full anywhere"
            }
            FirstFrameError::NoRing { .. } => {
                "spread the star to a ring of 40 to 120 pixels, expose it so that nothing is full, and hand that frame in"
            }
        }
    }
}

/// A ring whose pixels stand out less tells neither shadows nor edges. Set by hand: a star behind a cloud is refused.
const LEAST_SIGMAS: f64 = 5.0;

impl FirstFrame {
    /// Reads a file and its brightest star.
    ///
    /// # Errors
    /// [`FirstFrameError`].
    ///
    /// # Accuracy
    /// Obstruction and shadows before any fit: `first_frame::tests`.
    pub fn read(path: &Path) -> Result<FirstFrame, FirstFrameError> {
        let bytes = files::image_bytes(path)?;
        let name = path.display().to_string();
        let reading = files::reading(&bytes, &name)?;
        FirstFrame::of(name, reading)
    }

    /// The same of what was read before.
    ///
    /// # Errors
    /// [`FirstFrameError::Frame`] and [`FirstFrameError::NoRing`].
    pub fn of(name: String, reading: Reading) -> Result<FirstFrame, FirstFrameError> {
        let search = Search::plain(&FindingSettings::default());
        let found = Stars::find(&reading.values, reading.ceiling, &search);
        let stars = match found {
            Ok(stars) => stars,
            Err(reason) => return Err(FirstFrameError::Frame { name, reason }),
        };
        let star = stars.brightest();
        let Some(edges) = ring(&around(&stars.light, star), &RingSettings::default()) else {
            return Err(FirstFrameError::NoRing {
                name,
                radius_px: star.half_flux_radius_px,
            });
        };
        let area_px = PI * edges.outer_radius_px.powi(2);
        let sigmas = star.flux / area_px / stars.background.sigma;
        if sigmas < LEAST_SIGMAS {
            return Err(FirstFrameError::Faint {
                name,
                sigmas,
                least: LEAST_SIGMAS,
            });
        }
        let ratio = edges
            .inner_radius_px
            .map(|inner| inner / edges.outer_radius_px);
        let shadows = edges.shadows.iter().map(|shadow| SeenShadow {
            direction_rad: shadow.azimuth_rad,
            width_share: shadow_width_share(&edges, shadow.azimuth_rad),
        });
        let mut shadows: Vec<SeenShadow> = shadows.collect();
        shadows.sort_by(|a, b| b.width_share.total_cmp(&a.width_share));
        Ok(FirstFrame {
            outer_radius_px: edges.outer_radius_px,
            obstruction_ratio: ratio,
            shadows,
            background_adu: stars.background.level,
            name,
            reading,
        })
    }

    /// How far the sensor is from focus, without its sign: the outer edge is the aperture, shrunk by distance over focal length.
    pub fn distance_from_focus_m(&self, focal_ratio: f64, pixel_m: f64) -> f64 {
        2.0 * focal_ratio * self.outer_radius_px * pixel_m
    }
}

/// The part of a picture that a star stands in, with as much again around it.
fn around(light: &Array2<f64>, star: &Source) -> Array2<f64> {
    let (rows, columns) = light.dim();
    let [low, high] = star.box_px;
    let span = |axis: usize, most: usize| {
        let margin = (high[axis] - low[axis]) / 2 + 4;
        low[axis].saturating_sub(margin)..(high[axis] + margin + 1).min(most)
    };
    let (rows, columns) = (span(1, rows), span(0, columns));
    Array2::from_shape_fn((rows.len(), columns.len()), |(row, column)| {
        light[[rows.start + row, columns.start + column]]
    })
}

/// Sectors on either side of a shadow that it may darken, and those beyond them that show the light without it.
const DARKENED: i32 = 2;
const BESIDE: [i32; 2] = [3, 4];
/// No shadow that is seen is taken to be narrower, as a share of the outer diameter.
const LEAST_WIDTH_SHARE: f64 = 0.005;

/// The light that a shadow takes, as the width of a strip across the ring over the outer diameter: whatever blurs a shadow leaves that as
/// it is. The light without it is a parabola through the sectors beside it, since coma makes one side of a ring several times as bright as
/// the other.
fn shadow_width_share(ring: &Ring, direction_rad: f64) -> f64 {
    let sectors = SECTORS as i32;
    let at = (direction_rad / TAU * f64::from(sectors)).round() as i32;
    let bright = |by: i32| ring.sectors[(at + by).rem_euclid(sectors) as usize].brightness;
    let both = |by: i32| 0.5 * (bright(by) + bright(-by));
    let [near, far] = BESIDE;
    let bend = (both(far) - both(near)) / f64::from(far * far - near * near);
    let without = |by: i32| both(near) + bend * f64::from(by * by - near * near);
    let missing = (-DARKENED..=DARKENED).map(|by| without(by) - both(by));
    let missing_sectors = missing.sum::<f64>() / without(0);
    let middle_px = 0.5 * (ring.outer_radius_px + ring.inner_radius_px.unwrap_or(0.0));
    let width_px = missing_sectors * TAU / f64::from(sectors) * middle_px;
    (width_px / (2.0 * ring.outer_radius_px)).max(LEAST_WIDTH_SHARE)
}
