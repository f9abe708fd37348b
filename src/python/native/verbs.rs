//! The verbs that look at a scenario: `render`, `check`, `mask preview`, `field`.

use super::input::Source;
use super::output::json;
use super::refusal::Refusal;
use super::work::work;
use numpy::PyArray2;
use pyo3::prelude::*;
use skewstar::predict::Settings;
use skewstar::scene::{PreviewOptions, Scene};

/// Counts where there are any, the expected frame, and the truth.
type Rendered<'py> = (
    Option<Bound<'py, PyArray2<u16>>>,
    Bound<'py, PyArray2<f64>>,
    String,
);
/// Pictures with what is shown in them.
type Panels<'py> = Vec<(String, Bound<'py, PyArray2<f64>>)>;

/// The scene of a scenario.
fn scene(source: &Source, settings: Settings) -> Result<Scene, Refusal> {
    let scene = Scene::of(source.read()?).map_err(Refusal::of_scene(source.path()))?;
    Ok(scene.with_settings(settings))
}

fn settings(portable: bool) -> Settings {
    Settings {
        portable,
        ..Settings::default()
    }
}

/// The star, and its truth.
#[pyfunction]
pub fn render<'py>(
    py: Python<'py>,
    source: Source,
    bound: bool,
    portable: bool,
) -> PyResult<Rendered<'py>> {
    let (star, truth) = work(py, move |worker| {
        let settings = Settings {
            bound,
            ..settings(portable)
        };
        let scene = scene(&source, settings)?;
        let star = worker.compute(|_| scene.star());
        let star = star.map_err(Refusal::of_scene(source.path()))?;
        let truth = json(&star.truth)?;
        Ok::<_, Refusal>((star, truth))
    })??;
    let counts = star.frame.map(|frame| frame.counts_adu);
    Ok((
        counts.map(|counts| PyArray2::from_owned_array(py, counts)),
        PyArray2::from_owned_array(py, star.expected.image),
        truth,
    ))
}

/// What follows from a scenario.
#[pyfunction]
pub fn check(py: Python<'_>, source: Source, portable: bool) -> PyResult<String> {
    Ok(work(py, move |worker| {
        let scene = scene(&source, settings(portable))?;
        let follows = worker.compute(|_| scene.consequences());
        json(&follows.map_err(Refusal::of_scene(source.path()))?)
    })??)
}

/// What a mask shows.
#[pyfunction]
pub fn mask_preview<'py>(
    py: Python<'py>,
    source: Source,
    portable: bool,
) -> PyResult<(String, Panels<'py>)> {
    let (text, panels) = work(py, move |worker| {
        let scene = scene(&source, settings(portable))?;
        let preview = worker.compute(|_| scene.mask_preview(&PreviewOptions::default()));
        let preview = preview.map_err(Refusal::of_scene(source.path()))?;
        Ok::<_, Refusal>((json(&preview)?, preview.panels))
    })??;
    let panels = panels.into_iter();
    let panels = panels
        .map(|panel| (panel.caption, PyArray2::from_owned_array(py, panel.image)))
        .collect();
    Ok((text, panels))
}

/// Stars over the whole sensor.
#[pyfunction]
pub fn field<'py>(
    py: Python<'py>,
    source: Source,
    portable: bool,
) -> PyResult<(String, Bound<'py, PyArray2<u16>>)> {
    let (text, counts) = work(py, move |worker| {
        let refused = Refusal::of_scene(source.path());
        let scene = scene(&source, settings(portable))?;
        let rendered = worker.compute(|stop| scene.field(&|| stop.end_if_raised()));
        let rendered = rendered.map_err(&refused)?;
        let text = json(&scene.field_truth(&rendered).map_err(&refused)?)?;
        Ok::<_, Refusal>((text, rendered.field.frame.counts_adu))
    })??;
    Ok((text, PyArray2::from_owned_array(py, counts)))
}
