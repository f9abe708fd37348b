//! The compiled half of the Python package `skewstar`: what crosses between Python and the library, and nothing else.
//!
//! The other half is `skewstar/*.py`, which has the words for people: signatures, docstrings, what becomes of a dict. Here a call is
//! handed plain values, the work is done by the library without the interpreter's lock, and arrays are handed over without a copy.
//! Records go over as the JSON text that the program prints with `--json`, so that both say the same.

mod input;
mod learning;
mod measuring;
mod output;
mod refusal;
mod sets;
mod verbs;
mod work;

use pyo3::prelude::*;

/// Compiled half of the package; use `skewstar` instead.
#[pymodule(gil_used = true)]
mod _native {
    #[pymodule_export]
    use super::learning::learn;
    #[pymodule_export]
    use super::measuring::measure;
    #[pymodule_export]
    use super::sets::{Items, Set};
    #[pymodule_export]
    use super::verbs::{check, field, mask_preview, render};
    #[pymodule_export]
    #[allow(non_upper_case_globals)]
    const __version__: &str = env!("CARGO_PKG_VERSION");
}
