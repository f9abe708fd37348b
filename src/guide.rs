//! The guide: five stories, and what stands behind them in detail.
//!
//! The pages are the Markdown files of `src/guide`, as they stand in the repository; `tests/readme.rs` runs their commands and follows
//! their links.
//!
//! | story | for whom |
//! |---|---|
//! | [`learn`] | somebody who learns what a misaligned star looks like |
//! | [`mask`] | an owner who designs a mask |
//! | [`telescope`] | an owner at the telescope, with one frame |
//! | [`night`] | the same, for a whole night |
//! | [`authors`] | an author of measuring code |
//!
//! In detail: [`verbs`], [`scenario`], [`scale`], [`sets`], [`page`], [`platforms`].

#[doc = include_str!("guide/learn.md")]
pub mod learn {}

#[doc = include_str!("guide/mask.md")]
pub mod mask {}

#[doc = include_str!("guide/telescope.md")]
pub mod telescope {}

#[doc = include_str!("guide/night.md")]
pub mod night {}

#[doc = include_str!("guide/authors.md")]
pub mod authors {}

#[doc = include_str!("guide/verbs.md")]
pub mod verbs {}

#[doc = include_str!("guide/scenario.md")]
pub mod scenario {}

#[doc = include_str!("guide/scale.md")]
pub mod scale {}

#[doc = include_str!("guide/sets.md")]
pub mod sets {}

#[doc = include_str!("guide/page.md")]
pub mod page {}

#[doc = include_str!("guide/platforms.md")]
pub mod platforms {}
