//! The guide: five stories, and what stands behind them in detail.
//!
//! The pages are the Markdown files of `src/guide`, as they stand in the repository; `tests/readme.rs` runs their commands and follows
//! their links. Where a page leads to another one, the definition of the link that comes first counts: here that is the module, on the page
//! itself the file.
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

#[doc = "[scale]: crate::guide::scale\n[night]: crate::guide::night\n"]
#[doc = include_str!("guide/learn.md")]
pub mod learn {}

#[doc = include_str!("guide/mask.md")]
pub mod mask {}

#[doc = "[scale]: crate::guide::scale\n"]
#[doc = include_str!("guide/telescope.md")]
pub mod telescope {}

#[doc = include_str!("guide/night.md")]
pub mod night {}

#[doc = "[sets]: crate::guide::sets\n"]
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

#[doc = "[page]: crate::guide::page\n"]
#[doc = include_str!("guide/platforms.md")]
pub mod platforms {}
