//! How the camera is held, as far as a frame says it.
//!
//! An owner types a rotation and whether the picture is mirrored, and often does not know either. What a frame tells of them is in
//! its shadows, and some of it no frame tells (see [`answers`]). So a measurement lists every way that fits with its weight, and
//! an advice is judged in all of them.
//!
//! ```text
//! cards held over the rim ─▶ prior
//! picture ─▶ profile (shadows by direction) ─▶ turns worth a fit ─▶ search (fits, compared) ─▶ answers × prior = weights
//! ```

pub mod answers;
mod card;
mod carried;
mod judged;
mod masked;
mod profile;
mod search;

pub use answers::{OrientationAnswer, OrientationPrior, answers_of_prior};
pub use card::CardSeen;
pub use carried::{carried, carried_coma, carried_field, carried_vector};
pub use judged::{FoundTilt, HoldCase, cases_of_frame, helps};
pub(super) use masked::{answers_of_masked, holds_of_spikes};
pub(super) use search::{HeldFit, HoldSearch};
