//! What could not be done, in the program's words: a message, and a hint what to do next. In Python it is `skewstar.Error`.

use pyo3::prelude::*;
use skewstar::dataset::SetError;
use skewstar::diagnosis::DiagnosisError;
use skewstar::files::FileError;
use skewstar::scene::SceneError;
use std::path::Path;

pyo3::import_exception!(skewstar._error, Error);

/// Message and hint.
#[derive(Debug, Clone)]
pub struct Refusal {
    message: String,
    hint: Option<String>,
}

impl Refusal {
    /// What is wrong, and what to do about it.
    pub fn new(message: impl Into<String>, hint: &str) -> Refusal {
        Refusal {
            message: message.into(),
            hint: Some(hint.to_owned()),
        }
    }

    /// Puts the scenario's name in front of what is wrong with its scene, as the program does.
    pub fn of_scene(path: &Path) -> impl Fn(SceneError) -> Refusal + use<> {
        let path = path.display().to_string();
        move |error| match &error {
            // it has file, line and key of its own
            SceneError::Refused(refused) => Refusal::new(refused.to_string(), refused.hint()),
            other => Refusal::new(format!("{path}: {other}"), other.hint()),
        }
    }

    /// The message alone.
    pub fn message(&self) -> &str {
        &self.message
    }

    /// The hint alone.
    pub fn hint(&self) -> Option<&str> {
        self.hint.as_deref()
    }
}

impl From<FileError> for Refusal {
    fn from(error: FileError) -> Self {
        Refusal::new(error.to_string(), error.hint())
    }
}

impl From<DiagnosisError> for Refusal {
    fn from(error: DiagnosisError) -> Self {
        Refusal::new(error.to_string(), error.hint())
    }
}

impl From<SetError> for Refusal {
    fn from(error: SetError) -> Self {
        Refusal {
            message: error.to_string(),
            hint: error.hint().map(str::to_owned),
        }
    }
}

impl From<Refusal> for PyErr {
    fn from(refusal: Refusal) -> Self {
        Error::new_err((refusal.message, refusal.hint))
    }
}
