//! A whole sensor of stars: each with the image of its own place in the field.
//!
//! Nothing is interpolated between stars. Every star has its own wavefront and sub-pixel place; stars share what is the same for
//! all of them, a pupil on its grid and a sampling, which is then the one that the most demanding of them asks for. Where the
//! pupil changes with the field (an obstruction ahead of it, a second opening) each star has its own. Stars are added to the
//! frame in a fixed order: the number of threads changes no bit. Two things are left out: light beyond a star's stamp, whose share its
//! record tells (`light_in_stamp`), and any change of the sky's brightness over the field.

use super::readout::read_out;
use super::stamps::{Bench, Stamp, StampPlace, StarRecord, background, stamp, stamps_together};
use crate::axes::FrameM;
use crate::frame::Frame;
use crate::instrument::Instrument;
use crate::predict::{Expected, PredictError, Settings};
use crate::pupil::to_field;
use crate::rng::{Purpose, Seed};
use crate::state::{FieldStar, FieldStars, State};
use ndarray::Array2;
use rand::RngExt;
use rayon::prelude::*;

/// The frame of a field, and what is true of each star in it.
#[derive(Debug, Clone, PartialEq)]
pub struct StarField {
    /// Expected electrons.
    pub expected: Expected,
    /// Counts.
    pub frame: Frame,
    /// The stars in the order of the list, or as drawn.
    pub stars: Vec<StarRecord>,
}

/// Why a field cannot be made.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FieldError {
    /// There is nothing to turn light into counts.
    #[error(
        "a star field needs [star], [exposure], and the camera's gain, quantum efficiency and read noise"
    )]
    NoCounts,
    /// A star cannot be predicted.
    #[error(transparent)]
    Predict(#[from] PredictError),
}

impl FieldError {
    /// What to try next.
    pub fn hint(&self) -> &'static str {
        match self {
            FieldError::NoCounts => {
                "stars of different magnitudes need electrons: give these sections and keys"
            }
            FieldError::Predict(error) => error.hint(),
        }
    }
}

/// This many stars are computed before they are added to the frame, which bounds the memory; the result does not depend on it.
const STARS_AT_ONCE: usize = 256;
/// Stars that share a model at most.
const STARS_A_MODEL: usize = 16;
/// Places and magnitudes: the list, or drawn from the seed, evenly over the sensor.
///
/// The number of stars brighter than m grows as 10^(slope·m) between the two magnitudes.
pub fn field_stars(instrument: &Instrument, stars: &FieldStars, seed: Seed) -> Vec<FieldStar> {
    let (count, [bright, faint], slope) = match stars {
        FieldStars::Listed(list) => return list.clone(),
        FieldStars::Drawn {
            count,
            magnitudes,
            slope_per_magnitude,
        } => (*count, *magnitudes, *slope_per_magnitude),
    };
    let camera = &instrument.camera;
    (0..count)
        .map(|number| {
            let mut stream = seed.stream(Purpose::FieldStars, number as u64);
            let mut along =
                |side_px: usize| (stream.random::<f64>() - 0.5) * side_px as f64 * camera.pixel_m;
            let frame_m = FrameM::new([along(camera.width_px), along(camera.height_px)]);
            let share = stream.random::<f64>();
            // the inverse of the distribution; a slope of 0 spreads them evenly
            let rise = slope * std::f64::consts::LN_10 * (faint - bright);
            let depth = if rise.abs() < 1e-9 {
                share
            } else {
                libm::log1p(share * libm::expm1(rise)) / rise
            };
            FieldStar {
                field_m: to_field(instrument, frame_m),
                magnitude: bright + (faint - bright) * depth,
                temperature_k: None,
            }
        })
        .collect()
}

/// Renders a field; `done` is called after each star.
///
/// # Errors
/// [`FieldError`] when there are no counts to make, or a star cannot be predicted.
pub fn star_field(
    instrument: &Instrument,
    state: &State,
    stars: &[FieldStar],
    seed: Seed,
    settings: Settings,
    done: &(dyn Fn() + Sync),
) -> Result<StarField, FieldError> {
    let camera = &instrument.camera;
    let electronics = camera.electronics.as_ref().ok_or(FieldError::NoCounts)?;
    let background = background(instrument, state, settings)?;
    let (rows, columns) = (background.image.nrows(), background.image.ncols());
    let mut image = Array2::from_shape_fn((camera.height_px, camera.width_px), |(row, column)| {
        background.image[[row % rows, column % columns]]
    });
    let mut records = Vec::with_capacity(stars.len());
    let bench = Bench {
        instrument,
        state,
        background: &background,
        settings,
    };
    let shared = bench.one_pupil(stars);
    for together in stars.chunks(STARS_AT_ONCE) {
        let stamps = if shared {
            shared_stamps(&bench, together, done)?
        } else {
            let own = together.par_iter().map(|star| {
                let stamp = stamp(instrument, state, star, &background, settings);
                done();
                stamp
            });
            own.collect::<Result<Vec<Stamp>, FieldError>>()?
        };
        for stamp in stamps {
            add(&mut image, &stamp);
            records.push(stamp.record);
        }
    }
    let expected = Expected {
        image,
        star_total: records.iter().map(|r| r.electrons).sum(),
        ..background
    };
    let frame = read_out(&expected, electronics, camera.pixel_m, seed);
    Ok(StarField {
        expected,
        frame,
        stars: records,
    })
}

/// Stamps of stars that see one pupil, in the order of the stars: sorted by size, a few of the same size share a model.
fn shared_stamps(
    bench: &Bench<'_>,
    stars: &[FieldStar],
    done: &(dyn Fn() + Sync),
) -> Result<Vec<Stamp>, FieldError> {
    let places = stars
        .iter()
        .map(|star| bench.place(star))
        .collect::<Result<Vec<StampPlace>, FieldError>>()?;
    let mut order: Vec<(usize, StampPlace)> = places.into_iter().enumerate().collect();
    order.sort_by_key(|(number, place)| (place.side_px, *number));
    let (numbers, sorted): (Vec<usize>, Vec<StampPlace>) = order.into_iter().unzip();
    let groups: Vec<&[StampPlace]> = sorted
        .chunk_by(|a, b| a.side_px == b.side_px)
        .flat_map(|same| same.chunks(STARS_A_MODEL))
        .collect();
    let done_groups = groups
        .par_iter()
        .map(|group| stamps_together(bench, group, done))
        .collect::<Result<Vec<Vec<Stamp>>, FieldError>>()?;
    let mut numbered: Vec<(usize, Stamp)> = numbers
        .into_iter()
        .zip(done_groups.into_iter().flatten())
        .collect();
    numbered.sort_by_key(|(number, _)| *number);
    Ok(numbered.into_iter().map(|(_, stamp)| stamp).collect())
}

/// Adds the part of a stamp that falls on the sensor.
fn add(image: &mut Array2<f64>, stamp: &Stamp) {
    let (rows, columns) = (image.nrows() as i64, image.ncols() as i64);
    for ((row, column), light) in stamp.light.indexed_iter() {
        let (y, x) = (
            stamp.corner_px[1] + row as i64,
            stamp.corner_px[0] + column as i64,
        );
        if (0..rows).contains(&y) && (0..columns).contains(&x) {
            image[[y as usize, x as usize]] += light;
        }
    }
}
