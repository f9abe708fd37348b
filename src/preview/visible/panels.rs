//! The star as it looks on a screen, with and without an error, and beside it what to look at.
//!
//! The exposure is a good one: the brightest spike at 40 % of a full pixel, the core full. Gray is straight from the sky, black, to
//! [`SCREEN_WHITE`](super::SCREEN_WHITE) times the brightest spike of the star in focus, white; all pictures of a mask share it.

use super::Observer;
use super::stage::Stage;
use crate::instrument::Instrument;
use crate::predict::{PredictError, Settings};
use crate::state::{Exposure, Modes, State};
use crate::units::{NM, UM};
use ndarray::Array2;

/// Less than this is told as no movement.
const STILL_PX: f64 = 0.05;

/// An error that a star is shown with.
#[derive(Debug, Clone, PartialEq)]
pub struct ShownWith {
    /// What it is called.
    pub caption: String,
    /// How much farther out the sensor sits, um.
    pub offset_um: f64,
    /// Noll index and nm RMS.
    pub mode: Option<(u32, f64)>,
}

/// A spike that is looked at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LookedAt {
    /// The point of its line nearest to the star, from the star, frame axes.
    pub foot_px: [f64; 2],
    /// Along it.
    pub along: [f64; 2],
    /// Where its first order begins and ends, from the star.
    pub reach_px: [f64; 2],
    /// Whether it is the one that is judged against the others.
    pub judged: bool,
}

/// A star on the screen.
#[derive(Debug, Clone, PartialEq)]
pub struct Panel {
    /// What is wrong with it.
    pub caption: String,
    /// Electrons before noise, cut off where a pixel is full; element `[[row, column]]`, row 0 at the bottom.
    pub image: Array2<f64>,
    /// Gray, 0 black to 1 white, element `[[row, column]]`, row 0 at the bottom.
    pub gray: Array2<f64>,
    /// The star's place in it.
    pub star_px: [f64; 2],
    /// What to look at; empty where there is nothing to judge by.
    pub look: Vec<LookedAt>,
    /// What is seen there.
    pub words: String,
    /// How far the judged place moved; `None` where a crest is missing.
    pub moved_px: Option<f64>,
}

/// The star through an instrument's mask with each of these errors; `None` without a mask.
///
/// # Errors
/// As [`Model::new`](crate::predict::Model::new).
pub fn panels(
    instrument: &Instrument,
    state: &State,
    errors: &[ShownWith],
    settings: Settings,
) -> Result<Option<Vec<Panel>>, PredictError> {
    let Some(stage) = well_exposed(instrument, state, settings)? else {
        return Ok(None);
    };
    Ok(Some(
        errors.iter().map(|error| stage.panel(error)).collect(),
    ))
}

/// The stage in a good exposure.
fn well_exposed(
    instrument: &Instrument,
    state: &State,
    settings: Settings,
) -> Result<Option<Stage>, PredictError> {
    let observer = Observer::default();
    let Some(given) = Stage::new(instrument, state, observer, settings)? else {
        return Ok(None);
    };
    let Some(exposure) = state.exposure.as_ref().filter(|_| state.star.is_some()) else {
        return Ok(Some(given));
    };
    let state = State {
        exposure: Some(Exposure {
            time_s: exposure.time_s * given.good,
        }),
        ..state.clone()
    };
    Stage::new(instrument, &state, observer, settings)
}

impl Stage {
    fn panel(&self, error: &ShownWith) -> Panel {
        let modes: Modes = error
            .mode
            .iter()
            .map(|(noll, nm)| (*noll, nm * NM))
            .collect();
        let image = self.camera(self.light(&modes, error.offset_um * UM));
        let zero = self.places(&self.flat);
        let own = self.places(&image);
        let moved = |j: usize| Some(own[j]? - zero[j]?);
        let most = (0..zero.len())
            .filter(|j| moved(*j).is_some_and(|px| px.abs() > STILL_PX))
            .max_by(|a, b| {
                moved(*a)
                    .unwrap_or(0.0)
                    .abs()
                    .total_cmp(&moved(*b).unwrap_or(0.0).abs())
            });
        let judged = most.or((!zero.is_empty()).then_some(0));
        let look = judged.map_or(Vec::new(), |j| self.looked_at(j, &image));
        let moved_px = judged.and_then(moved);
        let words = match (judged, moved_px) {
            (None, _) => "no spikes that are judged against one another".to_owned(),
            (_, None) => "its spikes do not stand out".to_owned(),
            (_, Some(px)) if px.abs() <= STILL_PX => "spikes cross where they did".to_owned(),
            (_, Some(px)) => format!("the amber line is {:.1} px off", px.abs()),
        };
        Panel {
            caption: error.caption.clone(),
            gray: image.mapv(|e| ((e - self.background_e) / self.screen_e).clamp(0.0, 1.0)),
            image,
            star_px: self.model.star_px.xy(),
            look,
            words,
            moved_px,
        }
    }

    /// The spikes of one judged place, each where its crest lies.
    fn looked_at(&self, judged: usize, image: &Array2<f64>) -> Vec<LookedAt> {
        let parts = self.judged[judged].parts.iter().enumerate();
        parts
            .filter_map(|(number, (line, _))| {
                let line = &self.lines[*line];
                let at_px = self.across(image, line)?.place_px()?;
                Some(LookedAt {
                    foot_px: line.across.map(|d| d * at_px),
                    along: line.along,
                    reach_px: line.reach_px,
                    judged: number == 0,
                })
            })
            .collect()
    }
}
