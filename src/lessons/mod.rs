//! Lessons: short ones on the owner's own telescope, each with a star to move, the thing to see, and questions with one right answer.
//!
//! | file | what it holds |
//! |---|---|
//! | `table.rs` | the lessons, each once: adding one is one entry |
//! | `parts.rs` | what lessons have in common: what a value does to a star, what a telescope needs |
//! | `lesson.rs` | what a lesson is made of |
//! | `scale.rs` | amounts that are clearly seen on this telescope and camera |
//! | `scene.rs` | the star of a lesson: pictures, and what is drawn over them |
//! | `question.rs` | a question from a seed, and whether an answer is right |
//!
//! No files and no clock: a picture follows from its lesson and its values, a question from its seed.

mod lesson;
mod parts;
mod question;
mod scale;
mod scene;
mod table;

pub use lesson::{Handle, Lesson, Shown};
pub use question::Question;
pub use scale::Scale;
pub use scene::{LessonView, view};
pub use table::{LESSONS, lesson};
