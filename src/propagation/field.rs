//! The pupil field of one wavelength as true averages over the cells of a grid.
//!
//! Sampling a field folds the light from far outside into the image. Averaging it over its cells first weighs the light at
//! x by sinc(x/P) (P = λf/cell, the period of the sampled transform), which is close to zero exactly where the folding
//! would come from; the weight is divided out again in the image. The average over a cell is taken to first order: the
//! phase is that at the centroid of the open part, and its slope across the open part dims it by a sinc.

use crate::geometry::{CellGrid, Coverage};
use crate::math::{Real, sinc_relative_slope, vectorised, waves};
use crate::pupil::Pupil;
use crate::wavefront::Wavefront;
use ndarray::Array2;
use num_complex::Complex;
use rayon::prelude::*;
use std::f64::consts::TAU;
use std::ops::Range;
use std::sync::Arc;

/// What stays the same for every wavelength and every wavefront: how much of each cell is open, and where.
#[derive(Debug, Clone)]
pub struct FieldMaps {
    grid: CellGrid,
    rows: Vec<OpenRow>,
}

/// One row, from its first open column to its last.
#[derive(Debug, Clone, Default)]
struct OpenRow {
    span: Range<usize>,
    fraction: Arc<[f64]>,
    /// Cells that an edge cuts: number in `fraction`, and the centroid of the open part from the cell's middle, in cells.
    cut: Vec<(usize, [f64; 2])>,
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
            row.at_centroid_m.iter_mut().for_each(|l| *l *= factor);
            for across in &mut row.across_m {
                across.iter_mut().for_each(|l| *l *= factor);
            }
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
    /// Open fraction, times the amplitude that sine space asks for; the fraction itself where that is 1.
    amplitude: Arc<[f64]>,
}

/// A pupil field, made row by row when it is asked for.
pub trait PupilRows<T: Real>: Sync {
    /// The columns of a row that hold anything.
    fn span(&self, row: usize) -> Range<usize>;

    /// Writes values of one row, at most [`WAVES_AT_ONCE`](crate::math::WAVES_AT_ONCE) columns inside its [`span`](Self::span), each advanced by its
    /// turns.
    fn fill(&self, row: usize, columns: Range<usize>, turns: PhaseTurns, out: &mut [Complex<T>]);
}

/// Turns that phases are to be advanced by: those of the row and those of each column.
#[derive(Debug, Clone, Copy)]
pub struct PhaseTurns<'a> {
    /// Of the row.
    pub row: f64,
    /// Of the columns asked for.
    pub columns: &'a [f64],
}

/// The field of one wavelength.
pub struct Field<'a, T: Real> {
    /// The grid it is sampled on.
    pub grid: CellGrid,
    /// Its values.
    pub rows: &'a dyn PupilRows<T>,
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

impl<T: Real> Field<'_, T> {
    /// From the first row with anything open to the last.
    pub(super) fn open_rows(&self) -> Range<usize> {
        let open = |row: &usize| !self.rows.span(*row).is_empty();
        let first = (0..self.grid.count).find(open).unwrap_or(0);
        let end = (0..self.grid.count)
            .rev()
            .find(open)
            .map_or(first, |last| last + 1);
        first..end
    }
}

/// The averages over the cells at one wavelength.
pub struct CellAverages<'a> {
    lengths: &'a LengthMap,
    per_wavelength: f64,
}

impl<'a> CellAverages<'a> {
    /// The field of a map of W at a wavelength.
    pub fn new(lengths: &'a LengthMap, wavelength_m: f64) -> Self {
        CellAverages {
            lengths,
            per_wavelength: 1.0 / wavelength_m,
        }
    }

    /// How the dimming of a row's cells changes, relative to itself, per wave across them along x and y.
    pub(super) fn dimming_slopes(&self, row: usize, out: &mut Vec<[f64; 2]>) {
        let [x, y] = &self.lengths.rows[row].across_m;
        let slope = |across_m: &f64| sinc_relative_slope(across_m * self.per_wavelength);
        out.clear();
        out.extend(x.iter().zip(y).map(|(x, y)| [slope(x), slope(y)]));
    }

    /// Turns values of a row, from its first open column on, into their derivative by the amount of an addition to W;
    /// `addition` is the map of W per unit of that amount, `dimming` what [`dimming_slopes`](Self::dimming_slopes) gives.
    pub(super) fn differentiate<T: Real>(
        &self,
        addition: &LengthMap,
        row: usize,
        dimming: &[[f64; 2]],
        values: &mut [Complex<T>],
    ) {
        let added = &addition.rows[row];
        let [x, y] = &added.across_m;
        let across = x.iter().zip(y).zip(dimming);
        vectorised(
            #[inline(always)]
            || {
                let cells = values.iter_mut().zip(&added.at_centroid_m).zip(across);
                for ((value, length), ((x, y), [slope_x, slope_y])) in cells {
                    let dims = (x * slope_x + y * slope_y) * self.per_wavelength;
                    let turns = length * self.per_wavelength;
                    let (re, im) = (T::narrow(dims), T::narrow(-TAU * turns));
                    *value =
                        Complex::new(value.re * re - value.im * im, value.re * im + value.im * re);
                }
            },
        );
    }
}

impl<T: Real> PupilRows<T> for CellAverages<'_> {
    fn span(&self, row: usize) -> Range<usize> {
        let row = &self.lengths.rows[row];
        row.first..row.first + row.amplitude.len()
    }

    fn fill(&self, row: usize, columns: Range<usize>, turns: PhaseTurns, out: &mut [Complex<T>]) {
        let row = &self.lengths.rows[row];
        let range = columns.start - row.first..columns.end - row.first;
        let across = [0, 1].map(|axis: usize| &row.across_m[axis][range.clone()]);
        let (length, amplitude) = (&row.at_centroid_m[range.clone()], &row.amplitude[range]);
        let turns = (turns.row, turns.columns);
        vectorised(
            #[inline(always)]
            || {
                waves(
                    self.per_wavelength,
                    length,
                    turns,
                    Some(across),
                    amplitude,
                    out,
                )
            },
        );
    }
}

impl FieldMaps {
    /// Samples a pupil on a grid, once.
    pub fn new(pupil: &Pupil, grid: CellGrid) -> Self {
        let coverage = pupil.sample(grid);
        FieldMaps {
            grid,
            rows: (0..grid.count)
                .map(|row| OpenRow::of(&coverage, row))
                .collect(),
        }
    }

    /// The grid.
    pub fn grid(&self) -> CellGrid {
        self.grid
    }

    /// W of a wavefront over the open cells. The same map serves every wavelength at which W is the same.
    pub fn lengths(&self, wavefront: &Wavefront) -> LengthMap {
        self.lengths_through(wavefront, None)
    }

    /// The same with a path of the atmosphere added, element `[[row, column]]` at the middle of each cell of the grid.
    pub fn lengths_through(
        &self,
        wavefront: &Wavefront,
        atmosphere_m: Option<&Array2<f64>>,
    ) -> LengthMap {
        let mut values = self.values_m(wavefront);
        if let Some(atmosphere_m) = atmosphere_m {
            values += atmosphere_m;
        }
        let rows = (0..self.grid.count)
            .into_par_iter()
            .map(|row| self.length_row(wavefront, &values, row))
            .collect();
        LengthMap { rows }
    }

    /// W at the middle of every cell that is open or touches an open one, one cell of border added.
    fn values_m(&self, wavefront: &Wavefront) -> Array2<f64> {
        let n = self.grid.count;
        let mut values = Array2::zeros((n, n));
        values
            .outer_iter_mut()
            .into_par_iter()
            .enumerate()
            .for_each(|(row, mut line)| {
                let near = self.rows[row.saturating_sub(1)..(row + 2).min(n)].iter();
                let open = near.map(|r| &r.span).filter(|span| !span.is_empty());
                let first = open.clone().map(|span| span.start).min().unwrap_or(0);
                let last = open.map(|span| span.end).max().unwrap_or(0);
                let y = self.grid.centre_m(row);
                for column in first.saturating_sub(1)..(last + 1).min(n) {
                    line[column] = wavefront.value_m([self.grid.centre_m(column), y]);
                }
            });
        values
    }

    fn length_row(&self, wavefront: &Wavefront, values: &Array2<f64>, row: usize) -> LengthRow {
        let (open, n) = (&self.rows[row], self.grid.count);
        let room = || Vec::with_capacity(open.span.len());
        let mut made = LengthRow {
            first: open.span.start,
            at_centroid_m: room(),
            across_m: [room(), room()],
            amplitude: open.fraction.clone(),
        };
        let place = |column: usize| [self.grid.centre_m(column), self.grid.centre_m(row)];
        if !wavefront.has_even_amplitude() {
            let stretched = open.span.clone().zip(open.fraction.iter());
            made.amplitude = stretched
                .map(|(column, fraction)| fraction * wavefront.amplitude(place(column)))
                .collect();
        }
        let mut cut = open.cut.iter().peekable();
        for (i, column) in open.span.clone().enumerate() {
            let slope = [
                0.5 * (values[[row, (column + 1).min(n - 1)]]
                    - values[[row, column.saturating_sub(1)]]),
                0.5 * (values[[(row + 1).min(n - 1), column]]
                    - values[[row.saturating_sub(1), column]]),
            ];
            let centroid = cut
                .next_if(|(number, _)| *number == i)
                .map_or([0.0; 2], |(_, centroid)| *centroid);
            made.at_centroid_m
                .push(values[[row, column]] + slope[0] * centroid[0] + slope[1] * centroid[1]);
            for axis in 0..2 {
                made.across_m[axis].push(slope[axis] * open_width(centroid[axis]));
            }
        }
        made
    }
}

impl OpenRow {
    fn of(coverage: &Coverage, row: usize) -> Self {
        let fraction = coverage.fraction.row(row);
        let first = fraction.iter().position(|&f| f > 0.0).unwrap_or(0);
        let last = fraction
            .iter()
            .rposition(|&f| f > 0.0)
            .map_or(first, |last| last + 1);
        let span = first..last;
        let centroid = |column| [0, 1].map(|axis| coverage.centroid_cells[axis][[row, column]]);
        OpenRow {
            fraction: span.clone().map(|column| fraction[column]).collect(),
            cut: span
                .clone()
                .map(centroid)
                .enumerate()
                .filter(|(_, centroid)| *centroid != [0.0; 2])
                .collect(),
            span,
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
    use crate::math::{WAVES_AT_ONCE, cis_turns, sinc};
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
        let averages = CellAverages::new(&lengths, wavelength_m);
        // the edge at x = 41.3 mm cuts the cell from 41 to 43 mm: its right 0.85 is open
        let (row, column, open) = (50, 71, 0.85);
        let span = PupilRows::<f64>::span(&averages, row);
        let mut values = vec![Complex::<f64>::default(); span.len()];
        let places: Vec<usize> = span.clone().step_by(WAVES_AT_ONCE).collect();
        for (first, out) in places.into_iter().zip(values.chunks_mut(WAVES_AT_ONCE)) {
            let columns = first..first + out.len();
            let turns = PhaseTurns {
                row: 0.0,
                columns: &[0.0; WAVES_AT_ONCE][..out.len()],
            };
            averages.fill(row, columns, turns, out);
        }
        let middle = 42e-3 + 0.5 * (1.0 - open) * grid.cell_m;
        let expected = cis_turns::<f64>(-turns_per_cell * middle / grid.cell_m)
            * (open * sinc(turns_per_cell * open));
        assert_abs_diff_eq!(values[column - span.start].re, expected.re, epsilon = 1e-12);
        assert_abs_diff_eq!(values[column - span.start].im, expected.im, epsilon = 1e-12);
    }
}
