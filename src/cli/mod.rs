//! The command line: what is typed, what is printed, what is written. No physics and no geometry of its own.

pub mod interrupt;
pub mod output;
mod output_error;
pub mod printer;
pub mod progress;
