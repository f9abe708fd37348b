//! From a frame back to how far out of line the telescope is, and which screw to turn.
//!
//! Measuring is blind: it is handed pixel values and an [`Instrument`](crate::instrument::Instrument), never a state or a
//! truth. The trial states of its fits are its own.
//!
//! | file | what it does |
//! |---|---|
//! | `background.rs`, `defects.rs` | level, slope and noise of what lies behind the stars; pixels that are hot, dead or full |
//! | `stars.rs`, `regions.rs` | where the stars are, from focused points to doughnuts and spikes |
//! | `whole_frame.rs`, `whole_frame/` | many stars: sizes and shapes, tilt of the focal plane, coma node |
//! | `colours.rs`, `gain.rs`, `linear.rs` | what is typed about filter array and gain, and whether values are in proportion to light, against the frame itself |
//! | `frame_error.rs` | why a frame cannot be measured, in words |
//! | `measurement.rs`, `picture.rs`, `judged.rs`, `error.rs` | the whole chain: frame and instrument in, modes with their uncertainty and flags out |
//! | `orientation.rs`, `orientation/`, `cards.rs` | how the camera may be held, each way with its weight; frames that show a card |
//! | `ring.rs`, `harmonics.rs` | edges, thin side and shadows of a doughnut, without any model |
//! | `doughnut.rs` | a first guess from the edges, then modes by the whole model |
//! | `spikes.rs` | where the spikes of a masked star lie, and what their slopes say |
//! | `masked.rs`, `region_rays.rs` | from the spikes to modes by the whole model, and from these to the mean ray of each region |
//! | `advice.rs` | tilt → turns within the travel, what they do to place and focus |
//! | `learn.rs` | trial turns → what a tilt does to the star, and how the camera sits |
//! | `together.rs` | several frames of one state |
//! | `differs.rs` | what the star shows to be otherwise than typed |
//! | `good_enough.rs` | when to stop |
//! | `next.rs`, `trial.rs`, `plan.rs`, `step.rs`, `hands.rs` | the one next step: which screw to turn or to try, as a hand can turn it, and in which order the hands do it |
//! | `follows.rs` | whether the star is to be brought back, and whether to refocus |
//! | `report.rs`, `words.rs` | what is written for programs and said to people |
//! | `fit/` | the whole model fitted to one or more frames |
//! | `settings/` | every number that decides: what it decides, where it is from, what goes wrong when it is changed |
//!
//! Arrays have row 0 at the bottom; places are `[x, y]` in pixels of the frame, (0, 0) at the centre of the first pixel.

mod advice;
mod background;
mod cards;
mod colours;
mod defects;
mod differs;
mod doughnut;
mod drawing;
mod error;
pub mod fit;
mod follows;
mod frame_error;
mod gain;
mod good_enough;
mod hands;
mod harmonics;
mod judged;
pub mod learn;
mod linear;
mod masked;
mod measurement;
mod next;
pub mod orientation;
mod picture;
mod plan;
mod region_rays;
mod regions;
mod report;
mod ring;
pub mod settings;
mod spikes;
mod stars;
mod step;
mod together;
mod trial;
mod whole_frame;
mod words;

pub use advice::{Advice, Aim, Misaligned, NoAdvice, OneScrew, Verdict, advise};
pub use background::Background;
pub use cards::{CardFrame, card_over_rim, cards_seen};
pub use colours::{JudgedPattern, judge_pattern};
pub use differs::{Difference, differences};
pub use doughnut::{DoughnutFit, Side, SideFrom, measure_doughnut, measure_pair};
pub use drawing::{RingDrawing, SpikeDrawing, StarDrawing};
pub use error::MeasureError;
pub use frame_error::FrameError;
pub use gain::GainRange;
pub use good_enough::{GoodEnough, StopBy, good_enough};
pub use learn::{LearnError, LearnedResponse, LearnedScrew, Lesson, Sighting, TrialTurn, learn};
pub use masked::{MaskedFit, measure_masked};
pub use measurement::{MeasureOptions, Measurement, Method, measure, measure_two};
pub use next::{Deed, NextStep, next_step};
pub use orientation::{CardSeen, OrientationAnswer};
pub use picture::{CutStar, Picture};
pub use plan::{Plan, PlanFor};
pub use region_rays::RegionRay;
pub use report::{Findings, MeasureReport};
pub use ring::{Ring, SECTORS, Sector, Shadow, ring};
pub use settings::MeasureSettings;
pub use spikes::{FoundSpike, FoundTriplet, SlopeModes, Spikes};
pub use stars::{Search, Source, Stars};
pub use step::Step;
pub use together::together;
pub use whole_frame::{
    ComaField, Corners, Estimate, FocalPlane, StarShape, Together, Trade, Trouble, Weighed,
    WholeFrame, WholeFrameOptions, place_in_words, whole_frame,
};
pub use words::{findings, holds_in_words, size_in_words, step_and_rest};

pub use crate::math::Uncertain;
pub use crate::predict::NM_RMS_IN_WORDS;
