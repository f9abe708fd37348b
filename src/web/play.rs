//! Free play: a doughnut, the same star behind the mask, and the corners of the sensor, all from a few sliders.

use super::pixels::pack;
use super::reply::Reply;
use super::request::Request;
use crate::instrument::Instrument;
use crate::practice::{CORNER_M, Eye, Moment};
use crate::predict::PredictError;
use crate::rng::Seed;
use crate::state::{Exposure, ScrewTurns, State};
use crate::units::{ARCMIN, DEG, NM, UM};

/// A slider: its name, and its limit either way.
pub const SLIDERS: [(&str, f64); 9] = [
    ("tilt_arcmin", 6.0),
    ("tilt_deg", 360.0),
    ("focus_um", 200.0),
    ("astigmatism_nm", 300.0),
    ("astigmatism_deg", 180.0),
    ("trefoil_nm", 300.0),
    ("trefoil_deg", 120.0),
    ("spherical_nm", 300.0),
    ("seeing", 1.0),
];

/// The sliders' values; in words what is wrong with them.
pub fn read(request: &Request) -> Result<[f64; 9], String> {
    let mut values = [0.0; 9];
    for (value, (name, limit)) in values.iter_mut().zip(SLIDERS) {
        let Some(text) = request.asked(name) else {
            continue;
        };
        match text.parse::<f64>() {
            Ok(number) if number.abs() <= limit => *value = number,
            _ => return Err(format!("{name} is not a number from {} to {limit}", -limit)),
        }
    }
    Ok(values)
}

/// One of the pictures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// The doughnut.
    Ring,
    /// The same star near focus, behind the mask.
    Mask,
    /// Stars in the middle and the corners of the sensor, near focus.
    Corners,
}

/// Which picture is asked for; `None`: all three.
pub fn part(request: &Request) -> Result<Option<Part>, String> {
    match request.asked("part") {
        None => Ok(None),
        Some("ring") => Ok(Some(Part::Ring)),
        Some("mask") => Ok(Some(Part::Mask)),
        Some("corners") => Ok(Some(Part::Corners)),
        Some(_) => Err("part is none of ring, mask and corners".into()),
    }
}

/// The picture that is asked for, or all three, each a part: doughnut, masked star (empty without a mask), corners.
///
/// # Errors
/// As [`Eye::look`].
pub fn pictures(
    eye: &mut Eye,
    instrument: &Instrument,
    base: &State,
    values: [f64; 9],
    part: Option<Part>,
) -> Result<Reply, PredictError> {
    let mut draw = |part| picture(eye, instrument, base, values, part);
    match part {
        Some(part) => Ok(Reply::bytes(draw(part)?)),
        None => Ok(Reply::parts(&[
            draw(Part::Ring)?,
            draw(Part::Mask)?,
            draw(Part::Corners)?,
        ])),
    }
}

fn picture(
    eye: &mut Eye,
    instrument: &Instrument,
    base: &State,
    values: [f64; 9],
    part: Part,
) -> Result<Vec<u8>, PredictError> {
    let mut state = state(base, values);
    let moment = Moment {
        start_s: 0.0,
        atmosphere: Seed(11),
        noise: Seed(12),
    };
    let near_m = values[2] * UM;
    Ok(match part {
        Part::Ring => pack(&eye.look(&state, moment)?.expected),
        Part::Mask if instrument.mask.is_none() => Vec::new(),
        Part::Mask => {
            (state.sensor_offset_m, state.mask_on) = (near_m, true);
            pack(&eye.look(&state, moment)?.expected)
        }
        Part::Corners => {
            state.sensor_offset_m = near_m;
            state.sky.seeing_rad = None;
            pack(&eye.corners(&state, CORNER_M, moment)?)
        }
    })
}

fn state(base: &State, values: [f64; 9]) -> State {
    let [
        tilt,
        tilt_deg,
        focus,
        astigmatism,
        astigmatism_deg,
        trefoil,
        trefoil_deg,
        spherical,
        seeing,
    ] = values;
    let mut state = base.clone();
    let least = 100.0 * UM;
    let offset = if base.sensor_offset_m.abs() < least {
        -480.0 * UM
    } else {
        base.sensor_offset_m
    };
    state.sensor_offset_m = offset + focus * UM;
    state.turns = ScrewTurns::default();
    state.recentred = true;
    state.mask_on = false;
    state.exposure = Some(Exposure { time_s: 0.3 });
    let direction = |degrees: f64, times: f64| {
        [
            libm::cos(times * degrees * DEG),
            libm::sin(times * degrees * DEG),
        ]
    };
    state.flexure_rad = direction(tilt_deg, 1.0).map(|d| d * tilt * ARCMIN);
    // Noll: cosine and sine of each pair
    for ((size, degrees, times), [cosine, sine]) in [
        ((astigmatism, astigmatism_deg, 2.0), [6, 5]),
        ((trefoil, trefoil_deg, 3.0), [10, 9]),
    ] {
        let [c, s] = direction(degrees, times);
        state.modes.add(cosine, size * c * NM);
        state.modes.add(sine, size * s * NM);
    }
    state.modes.add(11, spherical * NM);
    if seeing <= 0.0 {
        state.sky.seeing_rad = None;
    }
    state
}
