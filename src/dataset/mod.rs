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
mod card_laws;
mod case;
mod correlation;
mod distribution;
mod error;
mod fits_cards;
mod frames;
mod given;
mod joined;
mod known;
mod manifest;
mod normal;
mod opening;
#[cfg(feature = "parquet")]
mod parquet_table;
mod read_vary;
mod recipe;
mod regions;
mod schema;
mod section;
mod set;
mod shard;
mod table;
mod value;
mod verify;
mod verify_files;

pub use card::card;
pub use case::Case;
pub use correlation::Correlations;
pub use distribution::{Distribution, Draws, Varied};
pub use error::SetError;
pub use fits_cards::{counts_cards, fits_cards};
pub use frames::flat_files;
pub use given::GivenTables;
pub use joined::{PLACE_PX, SetCase, StarPlace};
pub use manifest::Manifest;
pub use opening::{Opening, read_secret};
pub use recipe::{Fineness, FrameFiles, Recipe, ScenarioText, read};
pub use regions::regions_file;
pub use schema::schema;
pub use set::{CaseSource, Item, ScenarioSource, Set, title};
pub use shard::{
    FileRecord, RECORD_FORMAT, Seal, Shard, ShardFiles, ShardRecord, build, commitment,
    frame_sha256, row_sha256, secret_sha256, shard_of_record, shard_stem, shards,
};
pub use table::{Column, ColumnKind, Table, TableCell};
pub use value::{Drawn, TypedValue, ValueKind};
pub use verify::{Verifier, VerifyReport};
