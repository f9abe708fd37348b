//! Where in the plane of p told turns have weight: a polar grid over all directions, narrowed down step by step.

use super::agreement::{Agreement, ChangeSeen};
use crate::instrument::wrapped;
use num_complex::Complex64;
use std::f64::consts::PI;

/// Directions and sizes of the grid's nodes.
const DIRECTIONS: usize = 60;
const SIZES: usize = 20;
/// Grids that are laid at most, each narrower than the one before.
const GRIDS: usize = 4;
/// A grid is laid anew where it becomes less than this share as wide.
const MUCH_NARROWER: f64 = 0.6;
/// Sizes reach from one to the other share of the typed response.
const SIZES_OF_TYPED: [f64; 2] = [0.25, 2.0];
/// Where nothing was typed, sizes reach so many times below and above what the changes are on their face.
const SIZES_OF_SEEN: f64 = 8.0;

/// Nodes of less weight than this share of the heaviest count for nothing.
pub const LEAST_WEIGHT: f64 = 1e-4;

/// One p with all that speaks for it.
pub struct Weighed {
    /// p, metres RMS per radian.
    pub product: Complex64,
    /// Change of coma in one turn of each screw, unmirrored frame axes, metres RMS.
    pub per_turn: Vec<Complex64>,
    /// How well told turns agree with it.
    pub agrees: Agreement,
    /// How much it is to be believed apart from told turns, times the area of its cell once the grid is laid.
    pub beside: f64,
}

impl Weighed {
    /// Logarithm of its weight, where changes scatter `wider` times as much in their squares as hands and frames explain. Nodes stand at equal
    /// steps of direction and of the logarithm of size, so that the area of a cell goes with the square of its size.
    pub fn ln_weight(&self, wider: f64) -> f64 {
        let prior = libm::log(self.beside.max(f64::MIN_POSITIVE));
        prior + 2.0 * libm::log(self.product.norm()) + self.agrees.ln_likelihood(wider)
    }
}

/// Between which sizes of p to search: about what was typed, and what the changes are on their face.
pub fn sizes_to_search(
    seen: &[ChangeSeen],
    tilts: &[Complex64],
    expected_m: Option<f64>,
) -> [f64; 2] {
    let on_its_face = |seen: &ChangeSeen| {
        let turns = seen.given.turns.abs().hypot(seen.given.variance.sqrt());
        seen.coma.norm() / (tilts[seen.screw].norm() * turns)
    };
    let largest = seen.iter().map(on_its_face).fold(0.0, f64::max);
    match expected_m.map(f64::abs) {
        Some(expected) if expected > 0.0 => {
            let [low, high] = SIZES_OF_TYPED.map(|share| share * expected);
            [low, high.max(2.0 * largest)]
        }
        _ => [largest / SIZES_OF_SEEN, largest * SIZES_OF_SEEN],
    }
}

/// The nodes of the last grid: the first one has all directions and the sizes from one to the other.
pub fn searched(sizes: [f64; 2], weigh: &dyn Fn(Complex64) -> Weighed) -> Vec<Weighed> {
    let [low, high] = sizes.map(libm::log);
    let mut grid = Grid {
        direction_rad: 0.0,
        half_rad: PI,
        ln_size: 0.5 * (low + high),
        half_ln: 0.5 * (high - low),
    };
    let mut nodes = grid.nodes(weigh);
    for _ in 1..GRIDS {
        let Some(narrower) = grid.narrowed(&nodes) else {
            break;
        };
        grid = narrower;
        nodes = grid.nodes(weigh);
    }
    // nodes of one mirror image are compared with those of the other, whose grid may be wider
    let area = grid.half_rad * grid.half_ln;
    nodes.iter_mut().for_each(|node| node.beside *= area);
    nodes
}

/// A polar grid over a part of the plane of p.
struct Grid {
    /// Its middle.
    direction_rad: f64,
    ln_size: f64,
    /// How far it reaches to either side.
    half_rad: f64,
    half_ln: f64,
}

impl Grid {
    fn nodes(&self, weigh: &dyn Fn(Complex64) -> Weighed) -> Vec<Weighed> {
        let at = |k: usize, count: usize| (2.0 * (k as f64 + 0.5) / count as f64) - 1.0;
        let sizes = (0..SIZES).map(|k| libm::exp(self.ln_size + self.half_ln * at(k, SIZES)));
        sizes
            .flat_map(|size| {
                let direction = |k| self.direction_rad + self.half_rad * at(k, DIRECTIONS);
                (0..DIRECTIONS).map(move |k| Complex64::from_polar(size, direction(k)))
            })
            .map(weigh)
            .collect()
    }

    /// A grid over the part in which nodes have weight, with a cell about it; `None` where that is most of this one already.
    fn narrowed(&self, nodes: &[Weighed]) -> Option<Grid> {
        let weights: Vec<f64> = nodes.iter().map(|node| node.ln_weight(1.0)).collect();
        let (heaviest, best) = nodes
            .iter()
            .zip(&weights)
            .max_by(|a, b| a.1.total_cmp(b.1))?;
        let middle_rad = heaviest.product.arg();
        let (mut aside_rad, mut ln_sizes) = ([0.0_f64; 2], [f64::INFINITY, f64::NEG_INFINITY]);
        for (node, weight) in nodes.iter().zip(&weights) {
            if weight - best > libm::log(LEAST_WEIGHT) {
                let aside = wrapped(node.product.arg() - middle_rad);
                aside_rad = [aside_rad[0].min(aside), aside_rad[1].max(aside)];
                let ln_size = libm::log(node.product.norm());
                ln_sizes = [ln_sizes[0].min(ln_size), ln_sizes[1].max(ln_size)];
            }
        }
        let cell_rad = 2.0 * self.half_rad / DIRECTIONS as f64;
        let cell_ln = 2.0 * self.half_ln / SIZES as f64;
        let half_rad = (0.5 * (aside_rad[1] - aside_rad[0]) + cell_rad).min(self.half_rad);
        let half_ln = (0.5 * (ln_sizes[1] - ln_sizes[0]) + cell_ln).min(self.half_ln);
        let much =
            half_rad < MUCH_NARROWER * self.half_rad || half_ln < MUCH_NARROWER * self.half_ln;
        much.then(|| Grid {
            direction_rad: middle_rad + 0.5 * (aside_rad[0] + aside_rad[1]),
            ln_size: 0.5 * (ln_sizes[0] + ln_sizes[1]),
            half_rad,
            half_ln,
        })
    }
}
