//! What Python is handed back: arrays without a copy, records as JSON text.

use super::refusal::Refusal;
use serde_json::error::Error as JsonError;

/// The record as the program prints it with `--json`.
///
/// # Errors
/// None in practice: every record is made of numbers, texts and lists.
pub fn json<T: serde::Serialize>(record: &T) -> Result<String, Refusal> {
    let failed = |error: JsonError| Refusal::new(error.to_string(), "tell the authors");
    serde_json::to_string(record).map_err(failed)
}
