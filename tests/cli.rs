//! The program itself, run as a person runs it: in an empty folder, with files and arguments. What it writes, what it says
//! on which stream, with which exit status, and that it leaves nothing behind when it cannot do what was asked.

mod answers;
mod drills;
mod indoors;
mod learning;
pub mod night;
pub mod program;
mod refusals;
mod repeatable;
mod sheets;
mod stopping;
mod written;
