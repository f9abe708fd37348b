//! Which causes explain what a field shows: drift, the sensor's own tilt, the unit's tilt, its decentre, spacing; alone or up to three together.
//!
//! Each cause does something linear to the numbers of the field fit (DESIGN section 10, "Rigid body"). All sets of causes are compared by
//! what they leave unexplained, weighed by the fit's covariance, with a price on every number that a set may choose: the cheapest is named,
//! and those nearly as cheap are told beside it.

use super::fit::{BLUR, COMA, DRIFT, FieldFit, LINEAR, SLOPE, SQUARE};
use crate::instrument::Response;
use crate::math::LeastSquares;
use crate::mechanics::rigid::away_is_outside;

/// A cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Cause {
    /// The stars trail: tracking, or wind.
    Drift,
    /// The sensor is at the wrong distance from the corrector.
    Spacing,
    /// The sensor is tilted against the unit.
    SensorTilt,
    /// The unit is tilted.
    UnitTilt,
    /// The unit sits aside.
    Decentre,
}

impl Cause {
    /// All, as they are told.
    pub const ALL: [Cause; 5] = [
        Cause::Drift,
        Cause::Spacing,
        Cause::SensorTilt,
        Cause::UnitTilt,
        Cause::Decentre,
    ];

    fn numbers(self, frames: usize) -> usize {
        match self {
            Cause::Drift => 2 * frames,
            Cause::Spacing => 1,
            _ => 2,
        }
    }
}

/// Numbers of the field fit that causes explain.
const SHOWN: [usize; 9] = [
    SLOPE,
    SLOPE + 1,
    COMA,
    COMA + 1,
    LINEAR,
    LINEAR + 1,
    SQUARE,
    DRIFT,
    DRIFT + 1,
];
/// What a number of a cause must take away from the sum of squares to be worth its place.
const PRICE: f64 = 8.0;
/// Sets within this of the cheapest are told beside it.
const NEARLY_AS_CHEAP: f64 = 4.0;
/// Most causes at once.
const AT_ONCE: usize = 3;
/// Less elongation than this share of the blur's variance is no drift. Set by hand.
const LONG_SHARE: f64 = 0.04;
/// How well the aligned field's own astigmatism is known, as a share of it. Common practice, no source: it is a guess or a design value.
const TYPED_SHARE: f64 = 0.5;
/// What the laws of the fit may be off by, as a share of a number; added to its variance. Rays do not know diffraction, which makes the
/// asymmetry of a comatic star in focus (`python -m world corners` shows it). Set by hand.
const LAW_SHARE: f64 = 0.2;

/// A frame's fit, and whether the camera was turned half round for it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Shown<'a> {
    pub fit: &'a FieldFit,
    pub turned: bool,
}

/// A cause with its numbers: in SI units, pupil axes; of drift the first frame's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Found {
    pub cause: Cause,
    pub value: [f64; 2],
    pub sigma: [f64; 2],
}

/// What explains the field.
#[derive(Debug, Clone)]
pub(super) struct Explained {
    /// The cheapest set; empty where nothing is to be explained.
    pub named: Vec<Found>,
    /// Other sets that explain it nearly as well and hold none of the named ones' supersets.
    pub or_else: Vec<Vec<Cause>>,
    /// What is left of the sum of squares, with the price of the numbers that were chosen.
    pub cost: f64,
    /// All causes at once: what the Jacobian says of each, `None` where the frames do not determine it.
    pub all: Vec<(Cause, [f64; 2], [Option<f64>; 2])>,
}

/// What the causes do.
pub(super) struct Effects<'a> {
    pub response: Option<&'a Response>,
    /// Astigmatism of the aligned field that was typed, per square metre.
    pub typed_square: f64,
}

impl Effects<'_> {
    /// Whether a cause does anything that is known.
    fn known(&self, cause: Cause) -> bool {
        let r = self.response;
        match cause {
            Cause::Drift | Cause::SensorTilt | Cause::Spacing => true,
            Cause::UnitTilt => {
                r.is_some_and(|r| r.coma_m_per_rad != 0.0 || r.sensor_tilt_per_tilt != 0.0)
            }
            Cause::Decentre => r.is_some_and(|r| r.decentre_coma_m_per_m != 0.0),
        }
    }

    /// What one unit of a cause's number does to the numbers shown by a frame.
    fn column(&self, cause: Cause, number: usize, frame: usize, turned: bool) -> [f64; 9] {
        let mut column = [0.0; 9];
        let axis = number % 2;
        let r = self.response;
        match cause {
            Cause::Drift if number / 2 == frame => column[7 + axis] = 1.0,
            Cause::Drift => {}
            Cause::Spacing => column[6] = self.square_per_spacing(),
            Cause::SensorTilt => column[axis] = if turned { -1.0 } else { 1.0 },
            Cause::UnitTilt => {
                if let Some(r) = r {
                    column[axis] = away_is_outside(r) * r.sensor_tilt_per_tilt;
                    column[2 + axis] = r.coma_m_per_rad;
                    column[4 + axis] = r.astigmatism_m_per_rad_m;
                }
            }
            Cause::Decentre => {
                if let Some(r) = r {
                    column[2 + axis] = r.decentre_coma_m_per_m;
                    column[4 + axis] = r.decentre_astigmatism_m_per_m_m;
                }
            }
        }
        column
    }

    /// Astigmatism per square metre and metre of spacing; 1 where no response says: spacing is then told by its astigmatism alone.
    pub fn square_per_spacing(&self) -> f64 {
        self.response
            .map(|r| r.spacing_astigmatism_m_per_m_m2)
            .filter(|k| *k != 0.0)
            .unwrap_or(1.0)
    }
}

/// Explains what the frames show.
pub(super) fn explain(frames: &[Shown<'_>], effects: &Effects<'_>) -> Option<Explained> {
    let (data, roots) = whitened(frames, effects.typed_square)?;
    let solve = |causes: &[Cause]| Solved::of(causes, frames, effects, &data, &roots);
    let causes: Vec<Cause> = Cause::ALL
        .into_iter()
        .filter(|c| effects.known(*c))
        .collect();
    let mut sets: Vec<(f64, Vec<Cause>)> = subsets(&causes)
        .into_iter()
        .map(|set| (solve(&set).left + price(&set, frames.len()), set))
        .collect();
    sets.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (least, best) = sets.first()?.clone();
    let or_else = sets[1..]
        .iter()
        .take_while(|(cost, _)| *cost < least + NEARLY_AS_CHEAP)
        .filter(|(_, set)| !best.iter().all(|cause| set.contains(cause)))
        .map(|(_, set)| set.clone())
        .collect();
    let solved = solve(&best);
    let named = best
        .iter()
        .map(|cause| {
            let (value, sigma) = solved.of_cause(*cause, &best, frames.len());
            Found {
                cause: *cause,
                value,
                sigma: sigma.map(|s| s.unwrap_or(f64::INFINITY)),
            }
        })
        .collect();
    let whole = solve(&causes);
    let all = causes
        .iter()
        .map(|cause| {
            let (value, sigma) = whole.of_cause(*cause, &causes, frames.len());
            (*cause, value, sigma)
        })
        .collect();
    Some(Explained {
        named,
        or_else,
        cost: least,
        all,
    })
}

fn price(set: &[Cause], frames: usize) -> f64 {
    PRICE * set.iter().map(|cause| cause.numbers(frames)).sum::<usize>() as f64
}

fn subsets(causes: &[Cause]) -> Vec<Vec<Cause>> {
    (0..1usize << causes.len())
        .filter(|bits| bits.count_ones() as usize <= AT_ONCE)
        .map(|bits| {
            let chosen = causes
                .iter()
                .enumerate()
                .filter(|(k, _)| bits & (1 << k) != 0);
            chosen.map(|(_, cause)| *cause).collect()
        })
        .collect()
}

struct Solved {
    numbers: Vec<f64>,
    sigmas: Vec<Option<f64>>,
    left: f64,
}

impl Solved {
    fn of(
        causes: &[Cause],
        frames: &[Shown<'_>],
        effects: &Effects<'_>,
        data: &[f64],
        roots: &[Triangle],
    ) -> Solved {
        let columns: Vec<Vec<f64>> = causes
            .iter()
            .flat_map(|cause| (0..cause.numbers(frames.len())).map(move |number| (*cause, number)))
            .map(|(cause, number)| {
                let of_frame = |(frame, shown): (usize, &Shown<'_>)| {
                    forward(
                        &roots[frame],
                        &effects.column(cause, number, frame, shown.turned),
                    )
                };
                frames.iter().enumerate().flat_map(of_frame).collect()
            })
            .collect();
        if columns.is_empty() {
            let left = data.iter().map(|v| v * v).sum();
            return Solved {
                numbers: Vec::new(),
                sigmas: Vec::new(),
                left,
            };
        }
        let problem = LeastSquares::new(columns.clone(), &vec![0.0; columns.len()]);
        let numbers = problem.solve(data);
        let left = data
            .iter()
            .enumerate()
            .map(|(row, value)| {
                let model: f64 = columns
                    .iter()
                    .zip(&numbers)
                    .map(|(column, n)| column[row] * n)
                    .sum();
                (value - model).powi(2)
            })
            .sum();
        Solved {
            sigmas: problem.sigmas(),
            numbers,
            left,
        }
    }

    fn of_cause(&self, cause: Cause, set: &[Cause], frames: usize) -> ([f64; 2], [Option<f64>; 2]) {
        let before: usize = set
            .iter()
            .take_while(|c| **c != cause)
            .map(|c| c.numbers(frames))
            .sum();
        let second = if cause.numbers(frames) > 1 {
            before + 1
        } else {
            before
        };
        let spacing = cause == Cause::Spacing;
        (
            [
                self.numbers[before],
                if spacing { 0.0 } else { self.numbers[second] },
            ],
            [
                self.sigmas[before],
                if spacing {
                    Some(0.0)
                } else {
                    self.sigmas[second]
                },
            ],
        )
    }
}

/// A lower triangle, row by row.
type Triangle = Vec<Vec<f64>>;

/// The numbers shown by all frames, and the triangles that bring them to standard deviation 1.
fn whitened(frames: &[Shown<'_>], typed_square: f64) -> Option<(Vec<f64>, Vec<Triangle>)> {
    // the astigmatism of the aligned field was typed, and is not known better than to this share
    // and a star whose blur is no normal spread looks a little long
    let typed = |fit: &FieldFit, j: usize, k: usize| match (j == k, j) {
        (true, SQUARE) => (TYPED_SHARE * typed_square).powi(2),
        (true, k) if k >= DRIFT => (LONG_SHARE * fit.values[BLUR]).powi(2),
        _ => 0.0,
    };
    let (mut data, mut roots) = (Vec::new(), Vec::new());
    for shown in frames {
        let fit = shown.fit;
        let covariance: Vec<Vec<f64>> = SHOWN
            .iter()
            .map(|j| {
                SHOWN
                    .iter()
                    .map(|k| {
                        let own = if j == k {
                            (LAW_SHARE * fit.values[*j]).powi(2)
                        } else {
                            0.0
                        };
                        fit.covariance[*j][*k] + own + typed(fit, *j, *k)
                    })
                    .collect()
            })
            .collect();
        let root = cholesky(&covariance)?;
        data.extend(forward(&root, &SHOWN.map(|k| fit.values[k])));
        roots.push(root);
    }
    Some((data, roots))
}

/// The lower triangle whose square is a covariance; `None` where it is none.
fn cholesky(covariance: &[Vec<f64>]) -> Option<Triangle> {
    let count = covariance.len();
    let mut root = vec![vec![0.0; count]; count];
    for row in 0..count {
        for column in 0..=row {
            let sum: f64 = (0..column).map(|k| root[row][k] * root[column][k]).sum();
            let rest = covariance[row][column] - sum;
            if row == column {
                if rest.is_nan() || rest <= 0.0 {
                    return None;
                }
                root[row][row] = rest.sqrt();
            } else {
                root[row][column] = rest / root[column][column];
            }
        }
    }
    Some(root)
}

/// What times the triangle gives these values.
fn forward(root: &[Vec<f64>], values: &[f64; 9]) -> Vec<f64> {
    let mut solved: Vec<f64> = Vec::with_capacity(values.len());
    for (row, value) in values.iter().enumerate() {
        let sum: f64 = solved
            .iter()
            .enumerate()
            .map(|(k, s)| root[row][k] * s)
            .sum();
        solved.push((value - sum) / root[row][row]);
    }
    solved
}
