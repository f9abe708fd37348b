//! Amounts that are clearly seen on a telescope and its camera: a ring that fits into the frame, coma that makes one side clearly thin without
//! folding it, spikes that leave their crossing.

use crate::instrument::{Instrument, MaskDesign};
use crate::predict::dark_shift_per_coma;
use crate::state::{Exposure, ScrewTurns, State};
use crate::units::{ARCSEC, SEEING_REFERENCE_M};

/// What a lesson reckons with.
#[derive(Debug, Clone)]
pub struct Scale {
    /// The telescope with a frame about one star, and with a mask.
    pub instrument: Instrument,
    /// The state that lessons begin with: in line, a star in the middle, no atmosphere.
    pub state: State,
    /// The telescope's seeing, where its sky has one.
    pub seeing_rad: Option<f64>,
    /// Sensor offset of a ring that fits, inside focus.
    pub offset_m: f64,
    /// Coma that is clearly seen in that ring.
    pub coma_m: f64,
    /// Defocus that is clearly seen behind a mask.
    pub focus_m: f64,
    /// Coma below which nothing is worth a turn: Maréchal's λ/14 (Born and Wolf, section 9.3, from memory).
    pub stop_m: f64,
    /// Turns of one screw that make that coma; `None` where nothing says what a turn does.
    pub turns: Option<f64>,
}

/// A frame about one star is no larger.
const FRAME_PX: usize = 96;
/// The ring across, as a share of the frame …
const RING_OF_FRAME: f64 = 0.55;
/// … and no wider than this.
const RING_AT_MOST_PX: f64 = 60.0;
/// The dark centre's way at clear coma, as a share of the ring's thickness: the thin side is then half as thick as before.
const CLEAR_SHARE: f64 = 0.5;
/// The hole of a telescope without one, for amounts only.
const NO_HOLE: f64 = 0.3;
/// Turns in a lesson at most.
const TURNS_AT_MOST: f64 = 0.5;
/// Seeing where the telescope's sky has none.
const SEEING_ARCSEC: f64 = 2.0;
/// Wind likewise.
const WIND_M_PER_S: f64 = 8.0;

impl Scale {
    /// The amounts of a telescope; of its state only star and sky are used.
    pub fn of(instrument: &Instrument, own: &State) -> Scale {
        let mut instrument = instrument.clone();
        let camera = &mut instrument.camera;
        camera.width_px = camera.width_px.min(FRAME_PX);
        camera.height_px = camera.height_px.min(FRAME_PX);
        let side_px = camera.width_px.min(camera.height_px) as f64;
        let pixel_m = camera.pixel_m;
        let telescope = &instrument.telescope;
        let (ratio, hole) = (telescope.focal_ratio(), telescope.obstruction_ratio());
        let radius_m = 0.5 * (RING_OF_FRAME * side_px).min(RING_AT_MOST_PX) * pixel_m;
        let hole = if hole > 0.0 { hole } else { NO_HOLE };
        let clear_m = CLEAR_SHARE * radius_m * (1.0 - hole);
        let coma_m = clear_m / dark_shift_per_coma(ratio, hole);
        if instrument.mask.is_none() {
            instrument.mask = Some(MaskDesign::covering(&instrument.telescope));
        }
        Scale {
            state: aligned(own),
            seeing_rad: own.sky.seeing_rad,
            offset_m: -2.0 * ratio * radius_m,
            coma_m,
            focus_m: 24.0 * SEEING_REFERENCE_M * ratio * ratio,
            stop_m: SEEING_REFERENCE_M / 14.0,
            turns: turns_for_coma(&instrument, coma_m),
            instrument,
        }
    }
}

/// Nothing wrong, no atmosphere; star, sky and a long exposure.
fn aligned(own: &State) -> State {
    let mut state = State {
        recentred: true,
        star: own.star.clone(),
        sky: own.sky.clone(),
        exposure: Some(Exposure { time_s: 0.3 }),
        turns: ScrewTurns::default(),
        ..State::default()
    };
    state.sky.seeing_rad = None;
    state
}

/// Lets the atmosphere move.
pub fn with_seeing(state: &mut State, own: Option<f64>) {
    state.sky.seeing_rad = Some(own.unwrap_or(SEEING_ARCSEC * ARCSEC));
    state.sky.wind_m_per_s = state.sky.wind_m_per_s.or(Some(WIND_M_PER_S));
    state.exposure = Some(Exposure { time_s: 0.1 });
}

/// Turns of one screw that make so much coma.
fn turns_for_coma(instrument: &Instrument, coma_m: f64) -> Option<f64> {
    let assembly = instrument.assembly.as_ref()?;
    let response = assembly.response.as_ref()?;
    let per_turn_m = crate::practice::coma_per_turn_m(assembly, response);
    (per_turn_m > 0.0).then(|| (coma_m / per_turn_m).min(TURNS_AT_MOST))
}
