//! A mask before it is printed: whether it can be printed and used, what it will show, and which numbers would show more.
//!
//! It asks the prediction, draws nothing at random and opens no file; the outlines themselves are made in
//! [`mask`](crate::mask).

pub mod check;
pub mod print;
pub mod search;
pub mod view;
pub mod visible;
