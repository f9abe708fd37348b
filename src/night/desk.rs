//! Where a page tells and asks: a night behind one door, whoever keeps it.

use super::board::Board;
use super::cut::StarCut;
use super::event::Happening;
use super::look::Looked;

/// A night that goes on somewhere; handed to the page by the shell, which alone opens files and looks at a clock.
pub trait Desk: Send + Sync {
    /// How it stands.
    ///
    /// # Errors
    /// [`DeskError`] where the session cannot be read.
    fn board(&self) -> Result<Board, DeskError>;

    /// The star of the last frame; `None` before one.
    fn star(&self) -> Option<StarCut>;

    /// Writes down what somebody tells, and says that it is kept.
    ///
    /// # Errors
    /// [`DeskError`] where it cannot be meant or kept; nothing was written then.
    fn tell(&self, what: Happening) -> Result<String, DeskError>;

    /// Tells that the step which is asked for was done as it was asked; `big` is its big line, where whoever tells it has seen it.
    ///
    /// # Errors
    /// [`DeskError`] where nothing is asked for that could be told, or something else by now.
    fn tell_as_asked(&self, big: Option<&str>) -> Result<String, DeskError>;

    /// Measures the bytes of an image file that came with a name for messages, and says when the file was last written, where that is known:
    /// milliseconds since 1970.
    ///
    /// # Errors
    /// [`DeskError`] where the bytes are no image, or the session cannot be written.
    fn frame(&self, name: &str, written_ms: Option<u64>, bytes: &[u8])
    -> Result<Looked, DeskError>;
}

/// Why something was not done, in words, and what to try next.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{what}")]
pub struct DeskError {
    /// What is wrong.
    pub what: String,
    /// What to do next.
    pub hint: String,
}
