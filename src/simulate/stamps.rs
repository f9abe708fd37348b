//! One star of a field on a small frame of its own: how large it must be, where it stands, and its light.
//!
//! [`stamp`] makes one star by itself; [`stamps_together`] makes several that see one pupil with one prepared model. It refuses
//! to know the rest of the sensor.

use super::shape::{ImageShape, shape};
use super::starfield::FieldError;
use super::truth::Numbered;
use crate::axes::{FieldM, FramePx};
use crate::instrument::Instrument;
use crate::mechanics::{Alignment, align};
use crate::predict::{Expected, Model, Settings, farthest_ray_m};
use crate::pupil::{frame_px, to_field};
use crate::spectrum::edges;
use crate::state::{FieldStar, Star, State};
use crate::units::{DEG, MM, NM, UM};
use ndarray::Array2;
use serde::Serialize;

/// The truth about one star of a field; lengths in pixels are in frame axes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StarRecord {
    /// Where a wave with W = 0 would focus.
    pub star_px: FramePx,
    /// Place on the sensor from its centre, pupil axes.
    pub field_mm: [f64; 2],
    /// Johnson V.
    pub magnitude: f64,
    /// Electrons on an unlimited sensor.
    pub electrons: f64,
    /// Share of them on the stamp.
    pub light_in_stamp: f64,
    /// Sensor beyond best focus at this place, µm.
    pub sensor_offset_um: f64,
    /// Noll index → nm RMS at this place.
    pub modes_nm: Numbered,
    /// Diameter of the circle about the centroid that holds half of the stamp's light.
    pub half_flux_diameter_px: f64,
    /// Square root of the ratio of the second moments within twice the half-flux radius; 1 for round.
    pub elongation: f64,
    /// Direction of the long axis, frame axes.
    pub elongation_deg: f64,
    /// Centroid of the stamp's light.
    pub centroid_px: [f64; 2],
}

/// One star's light on its own small frame.
pub struct Stamp {
    /// Expected electrons of the star alone; element `[[row, column]]`, row 0 at the bottom.
    pub light: Array2<f64>,
    /// Column and row, in the frame, of the stamp's pixel (0, 0); it may lie outside the frame.
    pub corner_px: [i64; 2],
    /// What is true of it.
    pub record: StarRecord,
}

/// Half sides of stamps are rounded up to multiples of this, so that many stars share a size and with it a model.
const SIDE_STEP_PX: f64 = 8.0;
/// Magnitude of a star that adds nothing: sky and dark current are computed by a model that needs some star.
const UNSEEN_MAGNITUDE: f64 = 60.0;
/// Half the side of a stamp, at least and at most; rays that reach farther make it larger.
const STAMP_PX: [f64; 2] = [10.0, 256.0];
/// Light per pixel that may be cut off at a stamp's edge.
const CUT_E: f64 = 0.3;

/// One star alone, at its own place and sub-pixel phase.
///
/// # Errors
/// As [`star_field`](super::star_field).
pub fn stamp(
    instrument: &Instrument,
    state: &State,
    star: &FieldStar,
    background: &Expected,
    settings: Settings,
) -> Result<Stamp, FieldError> {
    let bench = Bench {
        instrument,
        state,
        background,
        settings,
    };
    let place = bench.place(star)?;
    let model = bench.model(&place, place.side_px)?;
    let expected = Expected::new(&model, &bench.sensor(place.side_px), &place.state, settings)?;
    let (rows, columns) = background.image.dim();
    let light = Array2::from_shape_fn(expected.image.dim(), |(row, column)| {
        expected.image[[row, column]] - background.image[[row % rows, column % columns]]
    });
    Ok(finished(
        light,
        &place,
        expected.star_total,
        expected.light_in_frame,
    ))
}

/// Stars that share one pupil and one sampling: the model is made once, for the star that asks for the finest, and each star
/// gets its own wavefront and place in it.
pub(super) fn stamps_together(
    bench: &Bench<'_>,
    places: &[StampPlace],
    done: &(dyn Fn() + Sync),
) -> Result<Vec<Stamp>, FieldError> {
    let hardest = places.iter().max_by(|a, b| a.reach_m.total_cmp(&b.reach_m));
    let Some(hardest) = hardest else {
        return Ok(Vec::new());
    };
    let mut model = bench.model(hardest, hardest.side_px)?;
    let mut stamps = Vec::with_capacity(places.len());
    for place in places {
        model.star_px = place.star_px - FramePx::new(place.corner_px.map(|c| c as f64));
        let share = model.light_of::<f64>(
            &place.alignment.modes,
            place.alignment.sensor_offset_m,
            &model.bins,
        );
        let in_stamp = share.sum();
        stamps.push(finished(
            share * place.electrons,
            place,
            place.electrons,
            in_stamp,
        ));
        done();
    }
    Ok(stamps)
}

/// What all stars of a field have in common.
pub(super) struct Bench<'a> {
    pub instrument: &'a Instrument,
    pub state: &'a State,
    pub background: &'a Expected,
    pub settings: Settings,
}

/// One star before its light is computed.
pub(super) struct StampPlace {
    star: FieldStar,
    state: State,
    alignment: Alignment,
    star_px: FramePx,
    corner_px: [i64; 2],
    pub side_px: usize,
    /// Farthest landing of a ray.
    reach_m: f64,
    electrons: f64,
}

impl Bench<'_> {
    pub fn place(&self, star: &FieldStar) -> Result<StampPlace, FieldError> {
        let star_px = frame_px(self.instrument, star.field_m);
        let state = own_state(self.state, star).ok_or(FieldError::NoCounts)?;
        let alignment = align(self.instrument, &state);
        let reach_m = farthest_ray_m(self.instrument, &alignment);
        // the background was made with an unseen star of this magnitude
        let electrons =
            self.background.star_total * libm::exp10(0.4 * (UNSEEN_MAGNITUDE - star.magnitude));
        let half_px = self.half_side_px(reach_m, electrons);
        // an even corner keeps the colours of a filter array in step with the frame
        let corner_px = star_px
            .xy()
            .map(|p| 2 * ((p.round() as i64 - half_px as i64) as f64 / 2.0).floor() as i64);
        Ok(StampPlace {
            star: *star,
            state,
            alignment,
            star_px,
            corner_px,
            side_px: 2 * half_px + 2,
            reach_m,
            electrons,
        })
    }

    /// The instrument with a small frame.
    fn sensor(&self, side_px: usize) -> Instrument {
        let mut small = self.instrument.clone();
        (small.camera.width_px, small.camera.height_px) = (side_px, side_px);
        small
    }

    fn model(&self, place: &StampPlace, side_px: usize) -> Result<Model, FieldError> {
        let stamp_middle = 0.5 * (side_px as f64 - 1.0);
        let pixel_m = self.instrument.camera.pixel_m;
        let corner_px = FramePx::new(place.corner_px.map(|c| c as f64));
        let aside_px = place.star_px - corner_px - FramePx::new([stamp_middle; 2]);
        let aside_m = to_field(self.instrument, aside_px.in_metres(pixel_m));
        let state = State {
            recentred: false,
            place_px: FramePx::ZERO,
            // what a tilt shifts is taken off: the frame follows the stars
            aside_m: aside_m - place.alignment.image_shift_m,
            ..place.state.clone()
        };
        Ok(Model::new(&self.sensor(side_px), &state, self.settings)?)
    }

    /// Half the side of a stamp: the rays, the seeing, and diffraction until what is cut falls below [`CUT_E`]; in steps of
    /// [`SIDE_STEP_PX`], so that many stars share a size.
    ///
    /// Beyond a radius r an annular pupil leaves the share 2λN/(π²r(1−ε)) of the light, so that a pixel there holds
    /// λN/(π³(1−ε)r³) of it per area. From memory; only the size of stamps depends on it.
    fn half_side_px(&self, reach_m: f64, electrons: f64) -> usize {
        let (telescope, pixel_m) = (&self.instrument.telescope, self.instrument.camera.pixel_m);
        let seeing_m = self.state.sky.seeing_rad.unwrap_or(0.0) * telescope.focal_length_m;
        let [_, longest_m] = edges(&self.instrument.camera.passband);
        let spread_m =
            longest_m * telescope.focal_ratio() / (1.0 - telescope.obstruction_ratio()).max(0.05);
        let per_area = electrons * spread_m / std::f64::consts::PI.powi(3);
        let wings_m = libm::cbrt(per_area * pixel_m * pixel_m / CUT_E);
        let half_px = (reach_m + 3.0 * seeing_m + wings_m) / pixel_m;
        let limited = half_px.clamp(STAMP_PX[0], STAMP_PX[1].max(reach_m / pixel_m + 16.0));
        ((limited / SIDE_STEP_PX).ceil() * SIDE_STEP_PX) as usize
    }

    /// Whether all stars see the same openings and have the same spectrum, so that only W and the place differ.
    pub fn one_pupil(&self, stars: &[FieldStar]) -> bool {
        let telescope = &self.instrument.telescope;
        let worn = self.instrument.mask.as_ref().filter(|_| self.state.mask_on);
        telescope.field.vignetting.is_none()
            && telescope
                .obstruction
                .as_ref()
                .is_none_or(|o| o.distance_m == 0.0)
            && worn.is_none_or(|mask| mask.distance_m == 0.0)
            && self.instrument.camera.colour.is_none()
            && stars.iter().all(|star| star.temperature_k.is_none())
    }
}

/// The stamp of a star whose light is known, with its record.
fn finished(light: Array2<f64>, place: &StampPlace, electrons: f64, light_in_stamp: f64) -> Stamp {
    let ImageShape {
        centroid_px,
        half_flux_diameter_px,
        elongation,
        elongation_rad,
    } = shape(&light);
    let modes = &place.alignment.modes;
    let last = modes.highest().max(11);
    Stamp {
        record: StarRecord {
            star_px: place.star_px,
            field_mm: place.star.field_m.in_units_of(MM),
            magnitude: place.star.magnitude,
            electrons,
            light_in_stamp,
            sensor_offset_um: place.alignment.sensor_offset_m / UM,
            modes_nm: Numbered(
                (2..=last)
                    .map(|noll| (noll, modes.get(noll) / NM))
                    .collect(),
            ),
            half_flux_diameter_px,
            elongation,
            elongation_deg: elongation_rad / DEG,
            centroid_px: [0, 1].map(|axis| centroid_px[axis] + place.corner_px[axis] as f64),
        },
        light,
        corner_px: place.corner_px,
    }
}

/// Sky and dark current of a pixel, as a tile that repeats over the sensor (2 × 2 for a filter array).
///
/// # Errors
/// As [`star_field`](super::star_field).
pub fn background(
    instrument: &Instrument,
    state: &State,
    settings: Settings,
) -> Result<Expected, FieldError> {
    let unseen = FieldStar {
        field_m: FieldM::ZERO,
        magnitude: UNSEEN_MAGNITUDE,
        temperature_k: None,
    };
    let own = own_state(state, &unseen).ok_or(FieldError::NoCounts)?;
    let mut small = instrument.clone();
    (small.camera.width_px, small.camera.height_px) = (2, 2);
    let model = Model::new(&small, &own, settings)?;
    let expected = Expected::new(&model, &small, &own, settings)?;
    if expected.in_electrons {
        Ok(expected)
    } else {
        Err(FieldError::NoCounts)
    }
}

/// The state with another star at another place.
fn own_state(state: &State, star: &FieldStar) -> Option<State> {
    let common = state.star.as_ref()?;
    Some(State {
        field_m: star.field_m,
        star: Some(Star {
            magnitude: star.magnitude,
            temperature_k: star.temperature_k.unwrap_or(common.temperature_k),
            ..*common
        }),
        ..state.clone()
    })
}
