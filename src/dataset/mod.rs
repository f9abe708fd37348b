//! Sets of frames with their truth: recipes, draws, shards, cards, and the check that a set is whole.
//!
//! Item `i` depends on the recipe, its scenario, the seed and `i`, and on nothing else; so any two programs that make disjoint
//! ranges make one set. Bytes in and bytes out: no file is opened here, the shell does that.

mod distribution;
mod read_vary;
mod recipe;
mod section;

pub use distribution::{Distribution, Drawn, Varied};
pub use recipe::{FrameFiles, Recipe, ScenarioText, hex, read};
