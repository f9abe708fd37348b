//! `measure`: a frame and an instrument in; the report for programs out.

use super::input::{Image, OwnImage, Source};
use super::output::json;
use super::refusal::Refusal;
use super::work::work;
use pyo3::prelude::*;
use skewstar::diagnosis::{Diagnosis, DiagnosisOptions};
use skewstar::files;
use skewstar::instrument::Instrument;
use skewstar::measure::learn::LearnedResponse;
use skewstar::measure::{Aim, MeasureOptions, Picture, Side};
use std::path::PathBuf;

/// A learned response: the path of its file, or its text.
#[derive(FromPyObject)]
pub struct Response {
    path: PathBuf,
    text: Option<String>,
}

impl Response {
    fn read(&self) -> Result<LearnedResponse, Refusal> {
        Ok(match &self.text {
            None => files::response(&self.path)?,
            Some(text) => LearnedResponse::read(text, &self.path.display().to_string())
                .map_err(files::FileError::from)?,
        })
    }
}

/// What is told beside the frame.
#[derive(FromPyObject)]
pub struct Told {
    pub side: Option<String>,
    pub mask_on: Option<bool>,
    pub portable: bool,
}

impl Told {
    /// Options of a measurement. The Python half lets nothing else through than `inside` and `outside`.
    pub fn options(&self) -> MeasureOptions {
        let side = |name: &str| {
            [Side::Inside, Side::Outside]
                .into_iter()
                .find(|s| s.name() == name)
        };
        MeasureOptions {
            mask_on: self.mask_on,
            side: self.side.as_deref().and_then(side),
            portable: self.portable,
            ..MeasureOptions::default()
        }
    }
}

/// What is asked of the frame.
#[derive(FromPyObject)]
pub struct Asked {
    at: Option<[f64; 2]>,
    temperature: Option<f64>,
    whole_frame: bool,
    aim: String,
}

/// The report, and what looked wrong in the files.
#[pyfunction]
pub fn measure<'py>(
    py: Python<'py>,
    image: Image<'py>,
    source: Source,
    told: Told,
    asked: Asked,
    second: Option<Image<'py>>,
    response: Option<Response>,
) -> PyResult<(String, Vec<String>)> {
    let (image, second) = (image.own(), second.map(Image::own));
    Ok(work(
        py,
        move |worker| -> Result<(String, Vec<String>), Refusal> {
            let scenario = source.read()?;
            // nothing else of the file is looked at: what is hidden stays hidden
            let exposure_s = scenario.state.exposure.as_ref().map(|e| e.time_s);
            let instrument = scenario.instrument;
            let response = response.as_ref().map(Response::read).transpose()?;
            let mut warnings = Vec::new();
            let mut options = DiagnosisOptions {
                measure: MeasureOptions {
                    at_px: asked.at,
                    temperature_k: asked.temperature,
                    ..told.options()
                },
                whole_frame: asked.whole_frame,
                aim: aim(&asked.aim),
                response: response.as_ref(),
                exposure_s,
                ..DiagnosisOptions::default()
            };
            let first = read(image, "image", &instrument, &mut options, &mut warnings)?;
            let second = second
                .map(|second| read(second, "second", &instrument, &mut options, &mut warnings))
                .transpose()?;
            options.second = second.as_ref();
            let found = worker.compute(|_| Diagnosis::of(&first, &instrument, &options))?;
            Ok((json(&found.report())?, warnings))
        },
    )??)
}

fn aim(name: &str) -> Aim {
    match name {
        "tilt" => Aim::Tilt,
        "both" => Aim::Both,
        _ => Aim::Coma,
    }
}

/// Reads an image; its flags go into the options, what looked wrong in it is noted with its name.
fn read(
    image: OwnImage,
    of_array: &str,
    instrument: &Instrument,
    options: &mut DiagnosisOptions,
    warnings: &mut Vec<String>,
) -> Result<Picture, Refusal> {
    let name = image.name(of_array);
    let read = image.read(&name, instrument)?;
    options.flags.extend(&read.flags);
    warnings.extend(read.warnings.iter().map(|words| format!("{name}: {words}")));
    Ok(read.picture)
}
