//! What Python hands over: scenarios by path or as text, images by path or as arrays.

use super::refusal::Refusal;
use ndarray::Array2;
use numpy::PyReadonlyArray2;
use pyo3::prelude::*;
use skewstar::files::{self, ReadPicture};
use skewstar::instrument::Instrument;
use skewstar::scenario::Scenario;
use std::path::PathBuf;

/// A scenario: its path, or its text with a name for messages; and what is set in it.
#[derive(FromPyObject)]
pub struct Source {
    path: PathBuf,
    text: Option<String>,
    set: Vec<String>,
}

impl Source {
    /// Reads it, with the drawing of its mask.
    pub fn read(&self) -> Result<Scenario, Refusal> {
        Ok(match &self.text {
            Some(text) => files::scenario_of(text.as_bytes(), &self.path, &self.set)?,
            None => files::scenario(&self.path, &self.set)?,
        })
    }

    /// Its name for messages.
    pub fn path(&self) -> &std::path::Path {
        &self.path
    }
}

/// An image: its path, or its values.
#[derive(FromPyObject)]
pub enum Image<'py> {
    /// Pixel values, the bits of a stored one, and the largest that they can hold.
    Values(PyReadonlyArray2<'py, f64>, u32, Option<f64>),
    /// A file.
    Path(PathBuf),
}

/// The same without ties to Python.
#[derive(Clone)]
pub enum OwnImage {
    /// Values, element `[[row, column]]`, row 0 at the bottom.
    Values {
        values: Array2<f64>,
        bits: u32,
        ceiling: Option<f64>,
    },
    /// A file.
    Path(PathBuf),
}

impl Image<'_> {
    /// Takes the values over.
    pub fn own(self) -> OwnImage {
        match self {
            Image::Path(path) => OwnImage::Path(path),
            Image::Values(values, bits, ceiling) => OwnImage::Values {
                values: values.as_array().to_owned(),
                bits,
                ceiling,
            },
        }
    }
}

impl OwnImage {
    /// The image for this instrument.
    pub fn read(self, name: &str, instrument: &Instrument) -> Result<ReadPicture, Refusal> {
        Ok(match self {
            OwnImage::Path(path) => files::picture(path, instrument)?,
            OwnImage::Values {
                values,
                bits,
                ceiling,
            } => files::picture_of(values, bits, ceiling, name, instrument)?,
        })
    }

    /// What messages call it.
    pub fn name(&self, of_array: &str) -> String {
        match self {
            OwnImage::Path(path) => path.display().to_string(),
            OwnImage::Values { .. } => of_array.to_owned(),
        }
    }
}
