//! Why files could not be written, with the path and the next step.

use super::interrupt::{EXIT_INTERRUPTED, Interrupted};
use std::io;
use std::path::PathBuf;
use thiserror::Error;

/// Why files could not be written.
#[derive(Debug, Error)]
pub enum OutputError {
    /// Something that is no folder has the folder's name.
    #[error("{} is not a folder", path.display())]
    NotAFolder {
        /// The place.
        path: PathBuf,
    },
    /// The folder cannot be made or nothing can be written into it.
    #[error("cannot write into the folder {}: {source}", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// A file to be written exists.
    #[error("{} exists already{}", path.display(), and_others(*others))]
    Exists {
        /// The first one.
        path: PathBuf,
        /// How many more exist.
        others: usize,
    },
    /// A folder has the name of a file to be written.
    #[error("{} is a folder, and a file of that name is to be written", path.display())]
    IsAFolder {
        /// The place.
        path: PathBuf,
    },
    /// A name is not that of a file, occurs twice, or was not planned.
    #[error("{name:?} cannot be a file of this set: {reason}")]
    Name {
        /// The name.
        name: String,
        /// Why not.
        reason: &'static str,
    },
    /// A planned file was never handed in.
    #[error("{} was planned but not made", path.display())]
    Missing {
        /// Where it should be.
        path: PathBuf,
    },
    /// A file could not be written or given its name.
    #[error("cannot write {}: {source}", path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// The user stopped the program.
    #[error(transparent)]
    Interrupted(#[from] Interrupted),
}

impl OutputError {
    /// What to try next, where there is something to try.
    pub fn hint(&self) -> Option<&'static str> {
        match self {
            OutputError::NotAFolder { .. } | OutputError::Folder { .. } => {
                Some("choose another folder with --out DIR")
            }
            OutputError::Exists { .. } => Some(
                "use --force to replace, or choose another place (--out DIR; of a session --session FILE)",
            ),
            OutputError::IsAFolder { .. } => {
                Some("move the folder away, or choose another place with --out DIR")
            }
            OutputError::Write { .. } => {
                Some("is the disc full? Choose another place with --out DIR")
            }
            OutputError::Name { .. }
            | OutputError::Missing { .. }
            | OutputError::Interrupted(_) => None,
        }
    }

    /// Exit status of the program: 130 when interrupted, else 2.
    pub fn exit_status(&self) -> i32 {
        if matches!(self, OutputError::Interrupted(_)) {
            EXIT_INTERRUPTED
        } else {
            2
        }
    }
}

fn and_others(others: usize) -> String {
    match others {
        0 => String::new(),
        1 => " (and 1 other file of this set)".to_owned(),
        _ => format!(" (and {others} other files of this set)"),
    }
}
