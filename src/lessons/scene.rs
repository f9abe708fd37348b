//! The star of a lesson: its pictures, and what is drawn over them.

use super::lesson::{Lesson, Shown, Star};
use super::scale::Scale;
use crate::measure::StarDrawing;
use crate::practice::{CORNER_M, Eye, Moment, Sight, sight};
use crate::predict::PredictError;
use crate::rng::Seed;
use crate::state::ScrewTurns;
use ndarray::{Array2, Axis, concatenate};
use serde::Serialize;
use std::collections::BTreeMap;

/// Stars as they are shown beside each other, and what is pointed out on them.
#[derive(Debug, Clone, Serialize)]
pub struct LessonView {
    /// A drawing for each star where there is something to point out; places from the middle of the whole picture.
    pub drawings: Vec<StarDrawing>,
    /// How far the dark centre goes by an eighth of a turn of a screw, clockwise facing its head, frame pixels.
    pub arrows: BTreeMap<String, [f64; 2]>,
}

impl Lesson {
    /// A star as values set it.
    pub fn star(&self, scale: &Scale, values: &[f64]) -> Star {
        let mut star = Star {
            instrument: scale.instrument.clone(),
            changed: false,
            state: scale.state.clone(),
            start_s: 0.0,
        };
        match self.shown {
            Shown::Star => star.state.sensor_offset_m = scale.offset_m,
            Shown::Masked => star.state.mask_on = true,
            Shown::Corners => {}
        }
        (self.set)(scale, values, &mut star);
        star
    }

    /// What is to be seen of each star.
    pub fn sights(&self, scale: &Scale, tiles: &[Vec<f64>]) -> Vec<Sight> {
        let seen = |values: &Vec<f64>| {
            let star = self.star(scale, values);
            sight(&star.instrument, &star.state, crate::axes::FramePx::ZERO)
        };
        tiles.iter().map(seen).collect()
    }

    /// The stars beside each other, from left to right; `eye` is one for the scale's telescope.
    ///
    /// # Errors
    /// As [`Eye::look`].
    pub fn picture(
        &self,
        scale: &Scale,
        tiles: &[Vec<f64>],
        eye: &mut Eye,
    ) -> Result<Array2<f64>, PredictError> {
        let mut pictures = Vec::new();
        for values in tiles {
            let star = self.star(scale, values);
            pictures.push(match star.changed {
                true => self.look(&star, &mut Eye::new(&star.instrument))?,
                false => self.look(&star, eye)?,
            });
        }
        let views: Vec<_> = pictures.iter().map(|picture| picture.view()).collect();
        // tiles have one size: that of the frame
        Ok(concatenate(Axis(1), &views).unwrap_or_else(|_| pictures[0].clone()))
    }

    fn look(&self, star: &Star, eye: &mut Eye) -> Result<Array2<f64>, PredictError> {
        let moment = Moment {
            start_s: star.start_s,
            atmosphere: Seed(31),
            noise: Seed(32),
        };
        match self.shown {
            Shown::Corners => eye.corners(&star.state, CORNER_M, moment),
            Shown::Star | Shown::Masked => Ok(eye.look(&star.state, moment)?.expected),
        }
    }
}

/// What is pointed out on stars of a lesson.
pub fn view(lesson: &Lesson, scale: &Scale, tiles: &[Vec<f64>]) -> LessonView {
    let wide_px = scale.instrument.camera.width_px as f64;
    let sights = match lesson.shown {
        Shown::Corners => Vec::new(),
        Shown::Star | Shown::Masked => lesson.sights(scale, tiles),
    };
    let middle = 0.5 * (tiles.len() as f64 - 1.0);
    let drawings = sights.iter().enumerate().filter_map(|(number, seen)| {
        let aside_px = (number as f64 - middle) * wide_px;
        Some(shifted(seen.drawing()?, aside_px))
    });
    LessonView {
        drawings: drawings.collect(),
        arrows: match lesson.arrows {
            true => arrows(lesson, scale),
            false => BTreeMap::new(),
        },
    }
}

fn shifted(mut drawing: StarDrawing, aside_px: f64) -> StarDrawing {
    drawing.star_px[0] += aside_px;
    if let Some(ring) = &mut drawing.ring {
        ring.centre_px[0] += aside_px;
        if let Some(dark) = &mut ring.dark_px {
            dark[0] += aside_px;
        }
    }
    drawing
}

/// Where the dark centre goes by an eighth of a turn of each screw from the aligned telescope, by the law that turns follow there.
fn arrows(lesson: &Lesson, scale: &Scale) -> BTreeMap<String, [f64; 2]> {
    let Some(assembly) = &scale.instrument.assembly else {
        return BTreeMap::new();
    };
    let small = scale.turns.unwrap_or(0.1);
    // where the dark centre stands with a screw turned, or with none
    let dark = |turned: Option<usize>| {
        let mut star = lesson.star(scale, &[]);
        star.state.turns = ScrewTurns::zero(assembly);
        if let Some(number) = turned {
            star.state.turns[number] = small * assembly.clockwise.sign();
        }
        let seen = sight(&star.instrument, &star.state, crate::axes::FramePx::ZERO);
        let ring = seen.drawing()?.ring?;
        let [dark, centre] = [ring.dark_px?, ring.centre_px];
        Some([0, 1].map(|k| dark[k] - centre[k]))
    };
    let arrow = |number: usize| {
        let (from, to) = (dark(None)?, dark(Some(number))?);
        Some([0, 1].map(|k| (to[k] - from[k]) / small / 8.0))
    };
    let screws = assembly.screws.iter().enumerate();
    screws
        .filter_map(|(number, screw)| Some((screw.name.clone(), arrow(number)?)))
        .collect()
}
