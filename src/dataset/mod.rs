//! Sets of frames with their truth: recipes, draws, shards, cards, and the check that a set is whole.
//!
//! Item `i` depends on the recipe, its scenario, the seed and `i`, and on nothing else; so any two programs that make disjoint
//! ranges make one set. Files are read by the room of files, and written by the shell alone.
//!
//! ```text
//! recipe + scenario ─▶ Set ─ item i ─▶ draws ─▶ scenario ─▶ simulate ─▶ frame, row of the truth table
//!                                                       └─▶ shard: frames, rows, record with checksums
//! ```

mod card;
mod distribution;
mod error;
mod fits_cards;
mod opening;
#[cfg(feature = "parquet")]
mod parquet_table;
mod read_vary;
mod recipe;
mod schema;
mod section;
mod set;
mod shard;
mod table;
mod verify;

pub use card::card;
pub use distribution::{Distribution, Drawn, Varied};
pub use error::SetError;
pub use fits_cards::fits_cards;
pub use opening::{Opening, read_secret};
pub use recipe::{Fineness, FrameFiles, Recipe, ScenarioText, read};
pub use schema::schema;
pub use set::{Item, ScenarioSource, Set, title};
pub use shard::{
    FileRecord, RECORD_FORMAT, Shard, ShardFiles, ShardRecord, build, commitment, frame_sha256,
    row_sha256, secret_sha256, shard_of_record, shard_stem, shards,
};
pub use table::{Column, ColumnKind, Table, TableCell};
pub use verify::{Verifier, VerifyReport};
