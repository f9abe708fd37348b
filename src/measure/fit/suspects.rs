//! Who is asked whether the star is otherwise than typed, and the derivatives by which each is judged.

use super::super::settings::FitSettings;
use super::dimension::Dimension;
use super::leftover::{Leftover, RingPlace};
use super::problem::StarProblem;
use super::unknown::{TrialState, Unknown};
use crate::predict::PredictError;
use crate::pupil::frame_axes;
use ndarray::Array2;

/// Secondary astigmatism, tetrafoil, secondary coma, secondary spherical aberration.
pub const HIGHER_ORDER_MODES: [u32; 7] = [12, 13, 14, 15, 16, 17, 22];
/// Depth of the edge whose derivative stands for one that cuts in, as a share of the aperture.
const CUT_TRIED_SHARE: f64 = 0.015;
/// A cut or a strip begins at a size in this range of what was tried, whatever the straight line says.
const STARTS_WITHIN: [f64; 2] = [0.2, 3.0];
/// A drift begins at no less and no more than this, pixels: it has no slope at zero, and the curvature that shows it ends.
const DRIFT_STARTS_PX: [f64; 2] = [0.5, 8.0];

/// Something that may be otherwise than it was typed or assumed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Suspect {
    /// Modes beyond primary spherical aberration.
    HigherOrder,
    /// The star moved during the exposure.
    Drift,
    /// The obstruction sits aside.
    ObstructionAside,
    /// A vane stands elsewhere, or is wider or narrower.
    Vane(usize),
    /// A straight edge cuts into the beam from one side.
    Cut,
    /// A vane or cable that was not typed.
    Strip,
    /// The slots are wider or narrower.
    SlotWidth,
    /// A second star.
    Neighbour,
}

/// Where the unknowns of a question begin, from what the straight line says of each of its columns; `None` where that makes no sense.
pub type Starts = dyn Fn(&[f64]) -> Option<Vec<(Unknown, f64)>>;

/// A suspect as it is put to the question.
pub struct Question {
    /// Derivatives of all data, one column a part of the answer; zero in the priors of the unknowns that are free already.
    pub columns: Vec<Vec<f64>>,
    /// Width of what is believed of each about zero; infinite where nothing is.
    pub widths: Vec<f64>,
    /// How many unknowns are freed.
    pub unknowns: usize,
    /// Among how many places it was looked for: the best of many is better by chance.
    pub looked_among: usize,
    /// Where the fit begins.
    pub starts: Box<Starts>,
}

/// Who may be asked of this star: not what is free already, and not everything where the residuals are as large as chance makes them.
/// Where shadows are taken as typed, modes alone are asked.
pub fn suspects(problem: &StarProblem<'_>, beyond_chance: bool, as_typed: bool) -> Vec<Suspect> {
    let telescope = &problem.instrument.telescope;
    let masked = problem.views.iter().any(|view| view.recorded.mask_on);
    let alone = problem.views.len() == 1;
    let one_colour = alone && problem.views[0].planes() == 1;
    let mut asked = vec![
        (Suspect::HigherOrder, !masked),
        (Suspect::Drift, one_colour && !masked && !as_typed),
        (
            Suspect::ObstructionAside,
            !masked && !as_typed && telescope.obstruction.is_some(),
        ),
        (Suspect::Cut, one_colour && !masked && beyond_chance),
        (Suspect::Strip, one_colour && !masked && beyond_chance),
        (Suspect::SlotWidth, masked && beyond_chance),
        (Suspect::Neighbour, one_colour && beyond_chance),
    ];
    let vanes = (0..telescope.vanes.len()).map(Suspect::Vane);
    asked.extend(vanes.map(|vane| (vane, !masked && beyond_chance)));
    let may = asked.into_iter().filter(|(_, may)| *may).map(|(s, _)| s);
    may.filter(|suspect| problem.trial.position(first_of(*suspect)).is_none())
        .collect()
}

/// The unknown by which a suspect is known to be free.
fn first_of(suspect: Suspect) -> Unknown {
    match suspect {
        Suspect::HigherOrder => Unknown::Mode(HIGHER_ORDER_MODES[0]),
        Suspect::Drift => Unknown::Drift(0, 0),
        Suspect::Neighbour => Unknown::NeighbourShare,
        Suspect::Cut => Unknown::Dimension(Dimension::CutX),
        Suspect::Strip => Unknown::Dimension(Dimension::StripAzimuth),
        plain => Unknown::Dimension(dimensions_of(plain)[0]),
    }
}

/// Dimensions that a suspect frees from where they are typed.
fn dimensions_of(suspect: Suspect) -> Vec<Dimension> {
    match suspect {
        Suspect::ObstructionAside => vec![Dimension::ObstructionX, Dimension::ObstructionY],
        Suspect::Vane(number) => vec![Dimension::VaneTurn(number), Dimension::VaneWidth(number)],
        _ => vec![Dimension::SlotWidth],
    }
}

/// A suspect's questions: one, or one for each place that is worth a look.
///
/// # Errors
/// As [`StarProblem::columns_by`].
pub fn questions(
    problem: &mut StarProblem<'_>,
    here: &TrialState,
    suspect: Suspect,
    settings: &FitSettings,
) -> Result<Vec<Question>, PredictError> {
    match suspect {
        Suspect::HigherOrder => higher_order(problem, here, settings).map(|q| vec![q]),
        Suspect::Drift => drift(problem, here, settings).map(|q| vec![q]),
        Suspect::Cut => cut(problem, here, settings).map(Vec::from_iter),
        Suspect::Strip => strip(problem, here, settings).map(Vec::from_iter),
        Suspect::Neighbour => neighbours(problem, here, settings),
        plain => dimensions(problem, here, &dimensions_of(plain), settings).map(|q| vec![q]),
    }
}

fn higher_order(
    problem: &mut StarProblem<'_>,
    here: &TrialState,
    settings: &FitSettings,
) -> Result<Question, PredictError> {
    let fixed = here.fixed.clone();
    Ok(Question {
        columns: problem.columns_of(&HIGHER_ORDER_MODES, here)?,
        widths: vec![settings.prior.higher_order_m; HIGHER_ORDER_MODES.len()],
        unknowns: HIGHER_ORDER_MODES.len(),
        looked_among: 1,
        starts: Box::new(move |_| {
            let start = |noll| (Unknown::Mode(noll), fixed.get(noll));
            Some(HIGHER_ORDER_MODES.into_iter().map(start).collect())
        }),
    })
}

fn dimensions(
    problem: &mut StarProblem<'_>,
    here: &TrialState,
    dimensions: &[Dimension],
    settings: &FitSettings,
) -> Result<Question, PredictError> {
    let own = dimensions.to_vec();
    let instrument = problem.instrument;
    let width = |d: &Dimension| d.prior_width(instrument, &settings.prior);
    Ok(Question {
        widths: own.iter().map(width).collect(),
        columns: problem.columns_by(here, own.len(), |view, plane| {
            view.slopes_by_dimensions(plane, here, &own)
        })?,
        unknowns: own.len(),
        looked_among: 1,
        starts: Box::new(move |_| {
            let start = |d: &Dimension| (Unknown::Dimension(*d), d.neutral());
            Some(own.iter().map(start).collect())
        }),
    })
}

/// Drift blurs along a line: by its square, so that the first derivative at rest is none. What the blur of seeing does not do is
/// asked by the two second derivatives of the picture that are not round.
fn drift(
    problem: &mut StarProblem<'_>,
    here: &TrialState,
    settings: &FitSettings,
) -> Result<Question, PredictError> {
    let columns = problem.columns_by(here, 2, |view, plane| {
        let image = view.image(plane, here)?;
        let pixels = view.pixels(plane);
        Ok(not_round(&image)
            .iter()
            .map(|second| pixels.iter().map(|at| second[*at]).collect())
            .collect())
    })?;
    // a path of d blurs by a variance of d²/12 along it, and changes a picture by half of that times its second derivative
    let width = settings.prior.drift_px.powi(2) / 48.0;
    Ok(Question {
        columns,
        widths: vec![width; 2],
        unknowns: 2,
        looked_among: 1,
        starts: Box::new(|amounts| {
            let [low, high] = DRIFT_STARTS_PX;
            let size = (48.0 * amounts[0].hypot(amounts[1]))
                .sqrt()
                .clamp(low, high);
            let along = 0.5 * libm::atan2(amounts[1], amounts[0]);
            Some(vec![
                (Unknown::Drift(0, 0), size * libm::cos(along)),
                (Unknown::Drift(0, 1), size * libm::sin(along)),
            ])
        }),
    })
}

/// ∂²/∂x² − ∂²/∂y² and 2∂²/∂x∂y of a picture, per squared pixel.
fn not_round(image: &Array2<f64>) -> [Array2<f64>; 2] {
    let (rows, columns) = image.dim();
    let at = |row: isize, column: isize| {
        let row = row.clamp(0, rows as isize - 1) as usize;
        image[[row, column.clamp(0, columns as isize - 1) as usize]]
    };
    let picture = |of: &dyn Fn(isize, isize) -> f64| {
        Array2::from_shape_fn((rows, columns), |(r, c)| of(r as isize, c as isize))
    };
    let apart = picture(&|r, c| at(r, c + 1) + at(r, c - 1) - at(r + 1, c) - at(r - 1, c));
    let crossed = picture(&|r, c| {
        0.5 * (at(r + 1, c + 1) + at(r - 1, c - 1) - at(r + 1, c - 1) - at(r - 1, c + 1))
    });
    [apart, crossed]
}

/// The ring of a doughnut in the picture, and how its directions belong to azimuths of the pupil: (place, from frame to pupil).
fn ring_place(
    problem: &StarProblem<'_>,
    here: &TrialState,
) -> (RingPlace, impl Fn(f64) -> f64 + use<>) {
    let instrument = problem.instrument;
    let at = |unknown| here.get(unknown).unwrap_or(0.0);
    let offset_m = at(Unknown::SensorOffset(0));
    let place = RingPlace {
        centre_px: [0, 1].map(|axis| at(Unknown::Place(0, axis))),
        radius_px: offset_m.abs()
            / (2.0 * instrument.telescope.focal_ratio())
            / instrument.camera.pixel_m,
    };
    let frame = frame_axes(instrument);
    let azimuth = move |direction: f64| {
        let upright = if offset_m < 0.0 { 1.0 } else { -1.0 };
        let towards = [libm::cos(direction), libm::sin(direction)].map(|v| upright * v);
        let [x, y] = frame.backward(towards);
        libm::atan2(y, x)
    };
    (place, azimuth)
}

/// An edge that cuts in where the rim lacks most light.
fn cut(
    problem: &mut StarProblem<'_>,
    here: &TrialState,
    settings: &FitSettings,
) -> Result<Option<Question>, PredictError> {
    let (place, azimuth_of) = ring_place(problem, here);
    let Some(direction) = Leftover::of(problem.pixels()).darkest_rim(place) else {
        return Ok(None);
    };
    let aperture_m = problem.instrument.telescope.aperture_m;
    let azimuth = azimuth_of(direction);
    let along = [libm::cos(azimuth), libm::sin(azimuth)];
    let depth_m = CUT_TRIED_SHARE * aperture_m;
    let tried = [
        (Unknown::Dimension(Dimension::CutX), depth_m * along[0]),
        (Unknown::Dimension(Dimension::CutY), depth_m * along[1]),
    ];
    let columns = change_to(problem, here, &tried)?;
    Ok(Some(Question {
        columns,
        widths: vec![settings.prior.cut_share / CUT_TRIED_SHARE],
        unknowns: 2,
        looked_among: RingPlace::DIRECTIONS,
        starts: Box::new(move |amounts| {
            let [low, high] = STARTS_WITHIN;
            let size = amounts[0].clamp(low, high);
            (amounts[0] > 0.0).then(|| tried.map(|(unknown, at)| (unknown, at * size)).to_vec())
        }),
    }))
}

/// A strip where a straight line outwards lacks most light.
fn strip(
    problem: &mut StarProblem<'_>,
    here: &TrialState,
    settings: &FitSettings,
) -> Result<Option<Question>, PredictError> {
    let (place, azimuth_of) = ring_place(problem, here);
    let Some(direction) = Leftover::of(problem.pixels()).darkest_ray(place) else {
        return Ok(None);
    };
    let width_m = settings.prior.strip_share * problem.instrument.telescope.aperture_m;
    let azimuth = azimuth_of(direction).rem_euclid(std::f64::consts::TAU);
    let unknowns = [Dimension::StripAzimuth, Dimension::StripWidth].map(Unknown::Dimension);
    let tried = [(unknowns[0], azimuth), (unknowns[1], width_m)];
    let columns = change_to(problem, here, &tried)?;
    Ok(Some(Question {
        columns,
        widths: vec![1.0],
        unknowns: 2,
        looked_among: RingPlace::DIRECTIONS,
        starts: Box::new(move |amounts| {
            let [low, high] = STARTS_WITHIN;
            let width_m = width_m * amounts[0].clamp(low, high);
            (amounts[0] > 0.0).then(|| vec![(unknowns[0], azimuth), (unknowns[1], width_m)])
        }),
    }))
}

/// One column: how the data change when these unknowns are added at these values.
fn change_to(
    problem: &mut StarProblem<'_>,
    here: &TrialState,
    tried: &[(Unknown, f64)],
) -> Result<Vec<Vec<f64>>, PredictError> {
    let mut there = here.clone();
    tried
        .iter()
        .for_each(|(unknown, at)| there.push(*unknown, *at));
    problem.columns_by(here, 1, |view, plane| {
        Ok(vec![view.change(plane, [here, &there])?])
    })
}

/// A second star at each of the places where the picture of the first one, laid over what is left, finds most light.
fn neighbours(
    problem: &mut StarProblem<'_>,
    here: &TrialState,
    settings: &FitSettings,
) -> Result<Vec<Question>, PredictError> {
    let image = problem.views[0].image(0, here)?;
    let (places, looked_among) = Leftover::of(problem.pixels()).second_stars(&image, settings);
    let least_share = settings.neighbour_share_at_least;
    let mut questions = Vec::new();
    for aside_px in places {
        let columns = problem.columns_by(here, 1, |view, plane| {
            let pixels = view.pixels(plane).iter();
            Ok(vec![
                pixels.map(|at| moved(&image, *at, aside_px)).collect(),
            ])
        })?;
        questions.push(Question {
            columns,
            widths: vec![settings.prior.neighbour_share],
            unknowns: 3,
            looked_among,
            starts: Box::new(move |amounts| {
                (amounts[0] > least_share).then(|| {
                    vec![
                        (Unknown::NeighbourAside(0), aside_px[0] as f64),
                        (Unknown::NeighbourAside(1), aside_px[1] as f64),
                        (Unknown::NeighbourShare, amounts[0]),
                    ]
                })
            }),
        });
    }
    Ok(questions)
}

/// The picture at a pixel after it was moved by whole pixels; 0 from beyond its edge.
pub fn moved(image: &Array2<f64>, [row, column]: [usize; 2], by_px: [isize; 2]) -> f64 {
    let from = [row as isize - by_px[1], column as isize - by_px[0]];
    match from.map(usize::try_from) {
        [Ok(row), Ok(column)] => image.get([row, column]).copied().unwrap_or(0.0),
        _ => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Of x² − y² the first is 4 everywhere inside, of xy the second is 2 (by hand).
    #[test]
    fn second_derivatives_that_are_not_round() {
        let of = |f: fn(f64, f64) -> f64| {
            Array2::from_shape_fn((5, 6), |(row, column)| f(column as f64, row as f64))
        };
        let [apart, crossed] = not_round(&of(|x, y| x * x - y * y));
        assert_relative_eq!(apart[[2, 3]], 4.0);
        assert_relative_eq!(crossed[[2, 3]], 0.0);
        let [apart, crossed] = not_round(&of(|x, y| x * y));
        assert_relative_eq!(apart[[2, 3]], 0.0);
        assert_relative_eq!(crossed[[2, 3]], 2.0);
    }

    #[test]
    fn a_picture_moves_by_whole_pixels() {
        let image = Array2::from_shape_fn((4, 5), |(row, column)| (10 * row + column) as f64);
        assert_relative_eq!(moved(&image, [3, 2], [-1, 2]), image[[1, 3]]);
        assert_relative_eq!(moved(&image, [1, 2], [0, 2]), 0.0);
        assert_relative_eq!(moved(&image, [1, 4], [-1, 0]), 0.0);
    }
}
