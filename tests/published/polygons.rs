//! Polygonal pupils made of half-planes, through exact coverage and the zoomed transform.
//!
//! A pupil of n cells across folds in light from n cycles further out, weighed down by its cell averages: the transform is
//! allowed 5e-5 at 400 cells, the row of slots 3e-5 at 700. `a_finer_grid_comes_closer` shows the trend.

use crate::support::checks::{agrees, input, list, rows};
use ndarray::Array2;
use num_complex::Complex;
use skewstar::geometry::{CellGrid, Coverage, Piece, Primitive, RadialMap, cover};
use skewstar::math::{cis_turns, sinc};
use skewstar::propagation::{CellSum, Field, PhaseTurns, Propagator, PupilRows, Sampling, Window};
use std::f64::consts::TAU;
use std::ops::Range;

pub const USED: &[&str] = &[
    "polygon.rectangle",
    "polygon.triangle",
    "polygon.hexagon",
    "grating.finite_profile",
];

const CELLS: usize = 400;
const TRANSFORM: f64 = 5e-5;

/// A convex polygon, corners counter-clockwise.
fn polygon(corners: &[[f64; 2]]) -> Piece {
    let side = |i: usize| {
        let (a, b) = (corners[i], corners[(i + 1) % corners.len()]);
        Primitive::left_of((b[1] - a[1]).atan2(b[0] - a[0]), a, 0.0)
    };
    let low = |axis: usize| {
        corners
            .iter()
            .map(|c| c[axis])
            .fold(f64::INFINITY, f64::min)
    };
    let high = |axis: usize| {
        corners
            .iter()
            .map(|c| c[axis])
            .fold(f64::NEG_INFINITY, f64::max)
    };
    Piece {
        keep: (0..corners.len()).map(side).collect(),
        blocks: Vec::new(),
        bounds: [low(0), low(1), high(0), high(1)],
    }
}

fn covered(pieces: &[Piece], half: f64, count: usize) -> Coverage {
    let cell_m = 2.0 * half / count as f64;
    cover(pieces, RadialMap::Identity, CellGrid { count, cell_m })
}

/// ∫ exp(−2πi ν·r) over the pieces: rows, then the column of what they gave.
fn transform(coverage: &Coverage, nu: [f64; 2]) -> Complex<f64> {
    let grid = coverage.grid;
    let pass = |values: &[Complex<f64>], frequency: f64| -> Complex<f64> {
        let turns = |i: usize| -frequency * grid.centre_m(i);
        let sum: Complex<f64> = (0..values.len())
            .map(|i| values[i] * cis_turns::<f64>(turns(i)))
            .sum();
        sum * (grid.cell_m / sinc(frequency * grid.cell_m))
    };
    let column: Vec<Complex<f64>> = coverage
        .fraction
        .rows()
        .into_iter()
        .map(|row| pass(&row.mapv(|v| Complex::new(v, 0.0)).to_vec(), nu[0]))
        .collect();
    pass(&column, nu[1])
}

/// A flat wave.
struct Flat<'a>(&'a Array2<f64>);

impl PupilRows<f64> for Flat<'_> {
    fn span(&self, _row: usize) -> Range<usize> {
        0..self.0.ncols()
    }

    fn fill(&self, row: usize, columns: Range<usize>, turns: PhaseTurns, out: &mut [Complex<f64>]) {
        for ((value, column), column_turns) in out.iter_mut().zip(columns).zip(turns.columns) {
            *value = cis_turns::<f64>(turns.row + *column_turns) * self.0[[row, column]];
        }
    }
}

/// |F|² over |F(0)|² as the propagation gives it: a flat wave, one tiny sensor cell at the place where frequency ν lands.
fn rendered(coverage: &Coverage, nu: [f64; 2]) -> f64 {
    let grid = coverage.grid;
    let rows = Flat(&coverage.fraction);
    let field = Field::<f64> {
        grid,
        rows: &rows,
        wavelength_m: 1.0,
        focal_length_m: 1.0,
        open_area_m2: coverage.fraction.sum() * grid.cell_m * grid.cell_m,
        sampling: Sampling::Averages,
    };
    let cell_m = 1e-3;
    let at = |place: [f64; 2]| {
        let window = Window {
            columns: 1,
            rows: 1,
            cell_m,
            sub_samples: 1,
            corner_m: place.map(|p| p - 0.5 * cell_m),
            sum: CellSum::Integral,
        };
        Propagator::new(false).irradiance(&field, &window)[[0, 0]]
    };
    at(nu) / at([0.0; 2])
}

fn compare(id: &str, pieces: &[Piece], half: f64) {
    let coverage = covered(pieces, half, CELLS);
    let area = transform(&coverage, [0.0; 2]).re;
    for (nu, row) in input(id, "nu").rows().into_iter().zip(rows(id)) {
        let nu = [nu[0], nu[1]];
        let found = transform(&coverage, nu);
        let name = format!("nu {:.2} {:.2}", nu[0], nu[1]);
        agrees(id, &format!("{name} Re"), row[0], found.re, TRANSFORM);
        agrees(id, &format!("{name} Im"), row[1], found.im, TRANSFORM);
        let height = (row[0] * row[0] + row[1] * row[1]).sqrt() / area;
        let seen = rendered(&coverage, nu).sqrt();
        agrees_height(id, &name, height, seen);
    }
}

/// The modulus over the area, as rendered.
fn agrees_height(id: &str, name: &str, height: f64, seen: f64) {
    println!("{id:<40} {name} rendered modulus {seen:.8} table {height:.8}");
    assert!((seen - height).abs() < 1e-4, "{id} {name}: {seen} {height}");
}

fn rectangle() -> Vec<[f64; 2]> {
    let id = "polygon.rectangle";
    let [width, height, turn] =
        ["width", "height", "rotation_deg"].map(|key| input(id, key).number());
    let centre = input(id, "centre").list();
    let (sin, cos) = turn.to_radians().sin_cos();
    [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)]
        .map(|(a, b): (f64, f64)| {
            let (x, y) = (0.5 * a * width, 0.5 * b * height);
            [centre[0] + x * cos - y * sin, centre[1] + x * sin + y * cos]
        })
        .to_vec()
}

fn triangle() -> Vec<[f64; 2]> {
    let corners = input("polygon.triangle", "corners").rows();
    corners.iter().map(|c| [c[0], c[1]]).collect()
}

#[test]
fn rectangle_triangle_hexagon() {
    compare("polygon.rectangle", &[polygon(&rectangle())], 0.6);
    compare("polygon.triangle", &[polygon(&triangle())], 1.01);
    let radius = input("polygon.hexagon", "circumradius").number();
    let corners: Vec<[f64; 2]> = (0..6)
        .map(|i| TAU * f64::from(i) / 6.0)
        .map(|t| [radius * t.cos(), radius * t.sin()])
        .collect();
    compare("polygon.hexagon", &[polygon(&corners)], 1.01 * radius);
}

/// Equal slots side by side, each a rectangle: the light at right angles to them.
#[test]
fn a_row_of_equal_slots() {
    let id = "grating.finite_profile";
    let [count, pitch, width] = ["slots", "p", "a"].map(|key| input(id, key).number());
    let slots: Vec<Piece> = (0..count as usize)
        .map(|i| (i as f64 - 0.5 * (count - 1.0)) * pitch)
        .map(|x| {
            let (left, right) = (x - 0.5 * width, x + 0.5 * width);
            polygon(&[[left, -1.3], [right, -1.3], [right, 1.3], [left, 1.3]])
        })
        .collect();
    // cells that neither slot edges nor their multiples fall on
    let coverage = covered(&slots, 4.13, 700);
    for (q, value) in input(id, "q").list().into_iter().zip(list(id)) {
        agrees(
            id,
            &format!("q {q}"),
            value,
            rendered(&coverage, [q, 0.0]),
            3e-5,
        );
    }
}

#[test]
fn a_finer_grid_comes_closer() {
    let id = "polygon.triangle";
    let nu = input(id, "nu").rows()[2].clone();
    let row = &rows(id)[2];
    let off = |cells: usize| {
        let found = transform(
            &covered(&[polygon(&triangle())], 1.01, cells),
            [nu[0], nu[1]],
        );
        (found - Complex::new(row[0], row[1])).norm()
    };
    let (coarse, fine) = (off(CELLS), off(2 * CELLS));
    println!("triangle, nu {nu:?}: off by {coarse:.1e}, twice as fine {fine:.1e}");
    assert!(fine < 0.5 * coarse);
}
