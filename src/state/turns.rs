//! Turns of an assembly's screws.

use std::ops::{Deref, DerefMut};

/// Turns of every screw of one assembly, in the order of [`Assembly::screws`](crate::instrument::Assembly::screws); positive
/// lengthens.
///
/// They are made against an assembly only ([`zero`](Self::zero), [`of`](Self::of), [`named`](Self::named)), so that there are as
/// many as it has screws. The default holds none: every screw has its nominal length, whichever screws there are. Values can be
/// changed in place, as in a slice; their number cannot.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ScrewTurns(Vec<f64>);

impl ScrewTurns {
    /// Turns whose number was compared with that of the screws.
    pub(crate) fn counted(turns: Vec<f64>) -> ScrewTurns {
        ScrewTurns(turns)
    }

    /// Turns of the same screws, each made from the old one.
    pub fn map(&self, each: impl FnMut(f64) -> f64) -> ScrewTurns {
        ScrewTurns(self.0.iter().copied().map(each).collect())
    }
}

impl Deref for ScrewTurns {
    type Target = [f64];

    fn deref(&self) -> &[f64] {
        &self.0
    }
}

impl DerefMut for ScrewTurns {
    fn deref_mut(&mut self) -> &mut [f64] {
        &mut self.0
    }
}
