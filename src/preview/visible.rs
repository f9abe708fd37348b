//! What a person can see of a star through a mask, read off the picture: passband, seeing, pixels, noise, full pixels and the screen.
//!
//! A spike is looked at across itself, where its slots put the first order of the passband, on both sides of the star. It counts only
//! where it stands out from the light around it ([`across`]). What is judged are places of spikes against one another (`visible/lines.rs`): the
//! middle one of a triplet against the crossing of its partners, or two parallel ones of different pitches. The star is rendered
//! with each error, and the least error is the one that moves the judged place by as much as the stated observer needs.
//!
//! The observer is an assumption, stated in every answer ([`Observer`]). `tests/observed.rs` holds the least errors against simulated
//! two-choice trials on noisy frames, by an observer that knows nothing of this code.

pub mod across;
pub mod lines;
pub mod panels;
mod sought;
mod stage;
mod told;

pub use self::told::{Observer, Sees, SpikeSeen, ViewingConditions};

use self::across::Stand;
use self::lines::{lines, lit};
use self::stage::Stage;
use crate::instrument::{Electronics, Instrument, MaskLayout};
use crate::predict::{PredictError, Settings};
use crate::propagation::Accuracy;
use crate::state::State;

/// White of the screen over the brightest spike.
pub const SCREEN_WHITE: f64 = 1.25;
/// Of two frames the right one is told in three of four trials when readings differ by this many times the scatter of one: √2 times the
/// quartile of the normal law.
const RIGHT_IN_THREE_OF_FOUR: f64 = 0.953_872_552_4;
/// A good exposure puts the brightest spike at this part of a full pixel ...
const SPIKE_LEVEL: f64 = 0.4;
/// ... but the core at no more than this many times full (common practice, no source: 10 to 50 times).
const CORE_OVERFLOW: f64 = 50.0;
/// No error beyond this is said to be seen, nm RMS.
pub const MOST_NM: f64 = 600.0;
/// Frames are not made wider than this.
const WIDEST_PX: usize = 640;

/// A mask as it is seen.
#[derive(Debug, Clone, PartialEq)]
pub struct Visibility {
    /// One a region, or one a spike that was found in a drawing's star.
    pub spikes: Vec<SpikeSeen>,
    /// One an error that was asked for.
    pub sees: Vec<Sees>,
    /// For which conditions.
    pub conditions: ViewingConditions,
}

/// Looks at the star of an instrument through its mask: aligned, in focus, with each of these modes alone.
///
/// Turns, focus and aberrations of the state are left out; star, sky and exposure count. Without them a good exposure of an ordinary
/// camera is assumed, and said so. `None` without a mask.
///
/// # Errors
/// As [`Model::new`](crate::predict::Model::new).
pub fn visibility(
    instrument: &Instrument,
    state: &State,
    observer: Observer,
    modes: &[u32],
    settings: Settings,
) -> Result<Option<Visibility>, PredictError> {
    let Some(stage) = Stage::new(instrument, state, observer, settings)? else {
        return Ok(None);
    };
    let stands: Vec<Stand> = stage
        .lines
        .iter()
        .map(|l| stage.stand(&stage.flat, l))
        .collect();
    Ok(Some(Visibility {
        spikes: stage.spikes_seen(&stands),
        sees: modes
            .iter()
            .map(|noll| stage.sees(*noll, &stands))
            .collect(),
        conditions: stage.conditions(state),
    }))
}

/// The frame about a star that holds its spikes, with the star in its middle: the same camera with another number of pixels.
pub fn wide_enough(instrument: &Instrument, state: &State) -> Instrument {
    let reach = lines(instrument, state, &lit(instrument, state))
        .iter()
        .map(|l| l.reach_px[1] + 2.0 * l.width_px)
        .fold(0.0, f64::max);
    let across = match instrument.mask.as_ref().map(|m| &m.layout) {
        Some(MaskLayout::Drawing(_) | MaskLayout::Holes(_)) => instrument.camera.width_px,
        _ => 2 * (reach.ceil() as usize + 3),
    };
    framed(instrument, across.clamp(64, WIDEST_PX))
}

fn framed(instrument: &Instrument, across_px: usize) -> Instrument {
    let mut own = instrument.clone();
    own.camera.width_px = across_px;
    own.camera.height_px = across_px;
    own.camera.colour = None;
    own
}

/// The state that is looked at: the mask on, nothing else wrong, the star in the middle.
pub fn aligned(state: &State) -> State {
    State {
        mask_on: true,
        star: state.star.clone(),
        sky: state.sky.clone(),
        exposure: state.exposure.clone(),
        field_m: state.field_m,
        ..State::default()
    }
}

/// Coarser sampling where the seeing hides the difference; an eye does not see the third digit.
fn quick(settings: Settings, state: &State) -> Settings {
    let blurred = state.sky.seeing_rad.is_some_and(|s| s > 0.0);
    Settings {
        accuracy: if blurred {
            Accuracy::fast()
        } else {
            settings.accuracy
        },
        sampling_check: false,
        bound: false,
        ..settings
    }
}

/// An ordinary camera, for scenarios without one: an assumption.
const ASSUMED: Electronics = Electronics {
    quantum_efficiency: 0.8,
    gain_e_per_adu: 0.5,
    bias_adu: 500.0,
    read_noise_e: 2.0,
    dark_e_per_s: 0.0,
    full_well_e: 20_000.0,
    bits: 16,
    pixel_response_rms: 0.0,
};
