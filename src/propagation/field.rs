//! The pupil field of one wavelength as true averages over the cells of a grid.
//!
//! Sampling a field folds the light from far outside into the image. Averaging it over its cells first weighs the light at
//! x by sinc(x/P) (P = λf/cell, the period of the sampled transform), which is close to zero exactly where the folding
//! would come from; the weight is divided out again in the image. The average over a cell is taken to first order: the
//! phase is that at the centroid of the open part, and its slope across the open part dims it by a sinc.

use crate::geometry::{CellGrid, Coverage};
use crate::math::{Real, cis_turns, sinc, sinc_slope};
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

/// A map in one cell, to first order.
struct Local {
    value: f64,
    /// Change across the cell along x and y.
    slope: [f64; 2],
    /// Width of the open part along x and y, in cells.
    width: [f64; 2],
}

impl Local {
    /// Change across the open part along an axis.
    fn across(&self, axis: usize) -> f64 {
        self.slope[axis] * self.width[axis]
    }
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

    /// The field of a wavefront at a wavelength.
    pub fn field<T: Real>(&self, wavefront: &Wavefront, wavelength_m: f64) -> Field<T> {
        let phase_turns = self.values(wavefront, wavelength_m);
        self.of_rows(
            wavefront,
            wavelength_m,
            self.rows(|row, column| self.cell(wavefront, &phase_turns, row, column)),
        )
    }

    /// The field, and its derivative by the amount of each addition to W; `additions` are maps of W in metres per unit of
    /// that amount, made by [`values`](Self::values) with a wavelength of 1 m.
    pub fn field_and_slopes<T: Real>(
        &self,
        wavefront: &Wavefront,
        wavelength_m: f64,
        additions: &[Array2<f64>],
    ) -> (Field<T>, Vec<Field<T>>) {
        let phase_turns = self.values(wavefront, wavelength_m);
        let base = self.rows(|row, column| self.cell(wavefront, &phase_turns, row, column));
        let dimming = self.rows(|row, column| {
            let local = self.local(&phase_turns, row, column);
            [0, 1].map(|axis| {
                let across = local.across(axis);
                local.width[axis] * sinc_slope(across) / sinc(across)
            })
        });
        let slopes = additions
            .iter()
            .map(|addition| {
                let rows = self.rows(|row, column| {
                    let Local { value, slope, .. } = self.local(addition, row, column);
                    let (first, values) = &base[row];
                    let dims = dimming[row].1[column - first];
                    let factor = Complex::new(
                        T::narrow((slope[0] * dims[0] + slope[1] * dims[1]) / wavelength_m),
                        T::narrow(-TAU * value / wavelength_m),
                    );
                    values[column - first] * factor
                });
                self.of_rows(wavefront, wavelength_m, rows)
            })
            .collect();
        (self.of_rows(wavefront, wavelength_m, base), slopes)
    }

    /// Calls `value` for every cell of the open span of each row.
    fn rows<V: Send>(&self, value: impl Fn(usize, usize) -> V + Sync) -> Vec<(usize, Vec<V>)> {
        (0..self.coverage.grid.count)
            .into_par_iter()
            .map(|row| {
                let (first, last) = self.spans[row];
                (
                    first,
                    (first..last).map(|column| value(row, column)).collect(),
                )
            })
            .collect()
    }

    fn of_rows<T: Real>(
        &self,
        wavefront: &Wavefront,
        wavelength_m: f64,
        rows: Vec<(usize, Vec<Complex<T>>)>,
    ) -> Field<T> {
        Field {
            grid: self.coverage.grid,
            rows,
            wavelength_m,
            focal_length_m: wavefront.focal_length_m(),
            open_area_m2: self.open_area_m2,
        }
    }

    /// W/λ at the middle of every cell that is open or touches an open one, one cell of border added.
    pub fn values(&self, wavefront: &Wavefront, wavelength_m: f64) -> Array2<f64> {
        let n = self.coverage.grid.count;
        let mut phase = Array2::zeros((n, n));
        phase
            .outer_iter_mut()
            .into_par_iter()
            .enumerate()
            .for_each(|(row, mut line)| {
                let low = row.saturating_sub(1);
                let near = &self.spans[low..(row + 2).min(n)];
                let first = near
                    .iter()
                    .filter(|s| s.1 > s.0)
                    .map(|s| s.0)
                    .min()
                    .unwrap_or(0);
                let last = near.iter().map(|s| s.1).max().unwrap_or(0);
                let y = self.coverage.grid.centre_m(row);
                for column in first.saturating_sub(1)..(last + 1).min(n) {
                    line[column] =
                        wavefront.value_m([self.coverage.grid.centre_m(column), y]) / wavelength_m;
                }
            });
        phase
    }

    fn cell<T: Real>(
        &self,
        wavefront: &Wavefront,
        phase: &Array2<f64>,
        row: usize,
        column: usize,
    ) -> Complex<T> {
        let fraction = self.coverage.fraction[[row, column]];
        if fraction == 0.0 {
            return Complex::new(T::zero(), T::zero());
        }
        let local = self.local(phase, row, column);
        let grid = self.coverage.grid;
        let stretch = wavefront.amplitude([grid.centre_m(column), grid.centre_m(row)]);
        let dimming = sinc(local.across(0)) * sinc(local.across(1));
        cis_turns::<T>(-local.value) * T::narrow(fraction * stretch * dimming)
    }

    /// A map at the centroid of the open part of a cell, how much it changes across the cell, and the open part's widths.
    fn local(&self, map: &Array2<f64>, row: usize, column: usize) -> Local {
        let n = self.coverage.grid.count;
        let slope = [
            0.5 * (map[[row, (column + 1).min(n - 1)]] - map[[row, column.saturating_sub(1)]]),
            0.5 * (map[[(row + 1).min(n - 1), column]] - map[[row.saturating_sub(1), column]]),
        ];
        let centroid = [0, 1].map(|axis| self.coverage.centroid_cells[axis][[row, column]]);
        Local {
            value: map[[row, column]] + slope[0] * centroid[0] + slope[1] * centroid[1],
            slope,
            width: centroid.map(open_width),
        }
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
        let field = FieldMaps::new(&pupil, grid).field::<f64>(&wavefront, wavelength_m);
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
