//! The pupil field of one wavelength as true averages over the cells of a grid.
//!
//! Sampling a field folds the light from far outside into the image. Averaging it over its cells first weighs the light at
//! x by sinc(x/P) (P = λf/cell, the period of the sampled transform), which is close to zero exactly where the folding
//! would come from; the weight is divided out again in the image. The average over a cell is taken to first order: the
//! phase is that at the centroid of the open part, and its slope across the open part dims it by a sinc.

use crate::geometry::{CellGrid, Coverage};
use crate::math::{Real, sinc_relative_slope, waves};
use crate::pupil::Pupil;
use crate::wavefront::Wavefront;
use ndarray::Array2;
use num_complex::Complex;
use rayon::prelude::*;
use std::f64::consts::TAU;
use std::ops::Range;

/// What stays the same for every wavelength and every wavefront: how much of each cell is open, and where.
#[derive(Debug, Clone)]
pub struct FieldMaps {
    coverage: Coverage,
    /// First open column and the one after the last, of each row.
    spans: Vec<(usize, usize)>,
    open_area_m2: f64,
}

/// A length over the open cells of each row (W, or an addition to it), to first order; linear in the length.
#[derive(Debug, Clone)]
pub struct LengthMap {
    rows: Vec<LengthRow>,
}

impl LengthMap {
    /// The same map with every length `factor` times as long.
    pub fn scaled(mut self, factor: f64) -> Self {
        for row in &mut self.rows {
            let [x, y] = &mut row.across_m;
            row.at_centroid_m
                .iter_mut()
                .chain(x)
                .chain(y)
                .for_each(|length| *length *= factor);
        }
        self
    }
}

/// One row of a [`LengthMap`], from its first open column on.
#[derive(Debug, Clone, Default)]
struct LengthRow {
    first: usize,
    /// At the centroid of each cell's open part.
    at_centroid_m: Vec<f64>,
    /// Change across the open part along x and y.
    across_m: [Vec<f64>; 2],
    /// Open fraction, times the amplitude that sine space asks for.
    amplitude: Vec<f64>,
}

/// The field of one wavelength. Rows hold only their open span.
pub struct Field<T: Real> {
    /// The grid it is sampled on.
    pub grid: CellGrid,
    /// For each row: first column, and values from there on.
    pub rows: Vec<(usize, Vec<Complex<T>>)>,
    /// Wavelength.
    pub wavelength_m: f64,
    /// Focal length.
    pub focal_length_m: f64,
    /// Light that enters, as an area: what |U|² is divided by.
    pub open_area_m2: f64,
    /// What the values are.
    pub sampling: Sampling,
}

/// What the values of a field are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sampling {
    /// Averages over the cells: the image is corrected for the averaging.
    Averages,
    /// Samples at the cells' middles: the image is the plain sum over them.
    Samples,
}

impl<T: Real> Field<T> {
    /// From the first row with anything open to the last.
    pub(super) fn open_rows(&self) -> Range<usize> {
        let open = |row: &(usize, Vec<Complex<T>>)| !row.1.is_empty();
        let first = self.rows.iter().position(open).unwrap_or(0);
        let end = self
            .rows
            .iter()
            .rposition(open)
            .map_or(first, |last| last + 1);
        first..end
    }
}

impl FieldMaps {
    /// Samples a pupil on a grid, once.
    pub fn new(pupil: &Pupil, grid: CellGrid) -> Self {
        let coverage = pupil.sample(grid);
        let spans = coverage
            .fraction
            .rows()
            .into_iter()
            .map(|row| {
                let first = row.iter().position(|&f| f > 0.0).unwrap_or(0);
                let last = row.iter().rposition(|&f| f > 0.0).map_or(first, |p| p + 1);
                (first, last)
            })
            .collect();
        FieldMaps {
            coverage,
            spans,
            open_area_m2: pupil.open_area_m2(),
        }
    }

    /// The grid.
    pub fn grid(&self) -> CellGrid {
        self.coverage.grid
    }

    /// W of a wavefront over the open cells. The same map serves every wavelength at which W is the same.
    pub fn lengths(&self, wavefront: &Wavefront) -> LengthMap {
        let values = self.values_m(wavefront);
        let rows = (0..self.coverage.grid.count)
            .into_par_iter()
            .map(|row| self.length_row(wavefront, &values, row))
            .collect();
        LengthMap { rows }
    }

    /// The field of a map of W at a wavelength.
    pub fn field<T: Real>(
        &self,
        lengths: &LengthMap,
        focal_length_m: f64,
        wavelength_m: f64,
    ) -> Field<T> {
        let rows = lengths
            .rows
            .par_iter()
            .map(|row| {
                let zero = Complex::new(T::zero(), T::zero());
                let mut values = vec![zero; row.amplitude.len()];
                let across = [&row.across_m[0][..], &row.across_m[1][..]];
                waves(
                    1.0 / wavelength_m,
                    &row.at_centroid_m,
                    across,
                    &row.amplitude,
                    &mut values,
                );
                (row.first, values)
            })
            .collect();
        self.of_rows(focal_length_m, wavelength_m, rows)
    }

    /// The derivative of a field by the amount of an addition to W; `addition` is the map of W per unit of that amount.
    pub fn slope<T: Real>(
        &self,
        field: &Field<T>,
        lengths: &LengthMap,
        addition: &LengthMap,
    ) -> Field<T> {
        let per_wavelength = 1.0 / field.wavelength_m;
        let rows = (field.rows.par_iter().zip(&lengths.rows).zip(&addition.rows))
            .map(|(((first, values), length), added)| {
                let change = |i: usize| {
                    let dims = |axis: usize| {
                        let across = length.across_m[axis][i] * per_wavelength;
                        added.across_m[axis][i] * per_wavelength * sinc_relative_slope(across)
                    };
                    let turns = added.at_centroid_m[i] * per_wavelength;
                    let factor =
                        Complex::new(T::narrow(dims(0) + dims(1)), T::narrow(-TAU * turns));
                    values[i] * factor
                };
                (*first, (0..values.len()).map(change).collect())
            })
            .collect();
        self.of_rows(field.focal_length_m, field.wavelength_m, rows)
    }

    fn of_rows<T: Real>(
        &self,
        focal_length_m: f64,
        wavelength_m: f64,
        rows: Vec<(usize, Vec<Complex<T>>)>,
    ) -> Field<T> {
        let (grid, open_area_m2) = (self.coverage.grid, self.open_area_m2);
        Field {
            grid,
            rows,
            wavelength_m,
            focal_length_m,
            open_area_m2,
            sampling: Sampling::Averages,
        }
    }

    /// W at the middle of every cell that is open or touches an open one, one cell of border added.
    fn values_m(&self, wavefront: &Wavefront) -> Array2<f64> {
        let n = self.coverage.grid.count;
        let mut values = Array2::zeros((n, n));
        values
            .outer_iter_mut()
            .into_par_iter()
            .enumerate()
            .for_each(|(row, mut line)| {
                let near = &self.spans[row.saturating_sub(1)..(row + 2).min(n)];
                let first = near
                    .iter()
                    .filter(|s| s.1 > s.0)
                    .map(|s| s.0)
                    .min()
                    .unwrap_or(0);
                let last = near.iter().map(|s| s.1).max().unwrap_or(0);
                let y = self.coverage.grid.centre_m(row);
                for column in first.saturating_sub(1)..(last + 1).min(n) {
                    line[column] = wavefront.value_m([self.coverage.grid.centre_m(column), y]);
                }
            });
        values
    }

    fn length_row(&self, wavefront: &Wavefront, values: &Array2<f64>, row: usize) -> LengthRow {
        let (first, last) = self.spans[row];
        let (n, grid) = (self.coverage.grid.count, self.coverage.grid);
        let mut made = LengthRow {
            first,
            ..LengthRow::default()
        };
        for column in first..last {
            let slope = [
                0.5 * (values[[row, (column + 1).min(n - 1)]]
                    - values[[row, column.saturating_sub(1)]]),
                0.5 * (values[[(row + 1).min(n - 1), column]]
                    - values[[row.saturating_sub(1), column]]),
            ];
            let centroid = [0, 1].map(|axis| self.coverage.centroid_cells[axis][[row, column]]);
            let stretch = wavefront.amplitude([grid.centre_m(column), grid.centre_m(row)]);
            made.at_centroid_m
                .push(values[[row, column]] + slope[0] * centroid[0] + slope[1] * centroid[1]);
            for axis in 0..2 {
                made.across_m[axis].push(slope[axis] * open_width(centroid[axis]));
            }
            made.amplitude
                .push(self.coverage.fraction[[row, column]] * stretch);
        }
        made
    }
}

/// Width of the open part of a cell, in cells, from where its centroid lies: exact for a cell cut by a line along an axis.
fn open_width(centroid_cells: f64) -> f64 {
    1.0 - 2.0 * centroid_cells.abs()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::{FocusLaw, ObstructionShape};
    use crate::math::{cis_turns, sinc};
    use crate::state::State;
    use crate::testing;
    use approx::assert_abs_diff_eq;

    /// A tilt of 0.23 waves a cell across the straight edge of a square obstruction: the average over the open part of a cut
    /// cell is known in closed form.
    #[test]
    fn a_cut_cell_is_averaged_over_its_open_part() {
        let mut instrument = testing::fast_unit();
        let telescope = &mut instrument.telescope;
        telescope.focus_law = FocusLaw::Sine;
        let obstruction = telescope.obstruction.as_mut().unwrap();
        (obstruction.shape, obstruction.diameter_m) = (ObstructionShape::Square, 0.0826);
        let grid = CellGrid {
            count: 101,
            cell_m: 2e-3,
        };
        let (wavelength_m, turns_per_cell) = (550e-9, 0.23);
        let edge_tilt_m =
            turns_per_cell * wavelength_m * telescope.aperture_radius_m() / grid.cell_m;
        let state = State {
            modes: [(2, 0.5 * edge_tilt_m)].into_iter().collect(), // Noll 2 is 2x
            ..State::default()
        };
        let pupil = Pupil::new(&instrument, &state);
        let frame = crate::pupil::frame_axes(&instrument);
        let wavefront = Wavefront::new(
            &instrument.telescope,
            &state.modes,
            0.0,
            wavelength_m,
            frame,
        );
        let maps = FieldMaps::new(&pupil, grid);
        let lengths = maps.lengths(&wavefront);
        let field = maps.field::<f64>(&lengths, wavefront.focal_length_m(), wavelength_m);
        // the edge at x = 41.3 mm cuts the cell from 41 to 43 mm: its right 0.85 is open
        let (row, column, open) = (50, 71, 0.85);
        let (first, values) = &field.rows[row];
        let middle = 42e-3 + 0.5 * (1.0 - open) * grid.cell_m;
        let expected = cis_turns::<f64>(-turns_per_cell * middle / grid.cell_m)
            * (open * sinc(turns_per_cell * open));
        assert_abs_diff_eq!(values[column - first].re, expected.re, epsilon = 1e-12);
        assert_abs_diff_eq!(values[column - first].im, expected.im, epsilon = 1e-12);
    }
}
