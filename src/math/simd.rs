//! Runs a plain loop with the widest instructions this processor has.
//!
//! The loop is ordinary Rust; it is compiled once for every processor, once for one with AVX2 and once with AVX-512, and the
//! right one is chosen at run time. Rust neither reorders sums nor fuses products into them by itself, so all give the same bits as long as
//! each element is computed on its own.

/// Calls `work` compiled for the processor at hand. What it calls must be inlined to profit.
#[inline(always)]
pub fn vectorised<R>(work: impl FnOnce() -> R) -> R {
    pulp::Arch::new().dispatch(work)
}
