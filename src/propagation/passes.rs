//! The two passes from the pupil to the light in rows of cells: rows of the pupil to the window's x samples, then columns.
//!
//! Both take eight lines at once. Between the passes the field stands in blocks of 8 × 8, so that either side reads and
//! writes whole cache lines. Lines are independent of each other: the result does not depend on the number of threads.

use super::field::{Field, PhaseTurns};
use super::focal::{Window, locked};
use super::slopes::SlopeLayer;
use crate::math::{LANES, Lanes, Panel, Real, WAVES_AT_ONCE, ZoomTransform, no_lanes, vectorised};
use ndarray::{Array3, ArrayViewMut3, Axis};
use num_complex::Complex;
use rayon::prelude::*;
use std::ops::Range;
use std::sync::Mutex;

/// All that the passes need.
pub(super) struct Passes<'a, T: Real> {
    pub field: &'a Field<'a, T>,
    /// The derivatives.
    pub layers: Vec<SlopeLayer<'a, T>>,
    /// From the first open row to the last.
    pub rows: Range<usize>,
    pub along_x: &'a ZoomTransform<T>,
    pub along_y: &'a ZoomTransform<T>,
    /// Factor of |U|² at every x sample, and at every y sample.
    pub correction_x: Vec<f64>,
    pub correction_y: Vec<T>,
    pub window: &'a Window,
}

impl<T: Real> Passes<'_, T> {
    /// The light per row of cells, and its derivatives: element `[[x sample, layer, row of cells]]`, layer 0 the light.
    /// `half` is room for what stands between the passes; what it held is overwritten.
    pub fn light(&self, half: &mut Vec<Lanes<T>>, pool: &WorkPool<T>) -> Array3<f64> {
        let panels = self.rows.len().div_ceil(LANES);
        half.resize(panels * self.panel_len(), no_lanes());
        half.par_chunks_mut(self.panel_len().max(1))
            .enumerate()
            .with_min_len(PANELS_AT_LEAST)
            .for_each_init(
                || pool.lend(self.along_x),
                |work, (number, blocks)| self.row_panel(number, blocks, work.get()),
            );
        let samples = self.along_x.outputs();
        let mut light = Array3::zeros((samples, self.layers.len() + 1, self.window.rows));
        let weights: Vec<T> = super::focal::narrow(&self.window.weights());
        light
            .axis_chunks_iter_mut(Axis(0), LANES)
            .into_par_iter()
            .enumerate()
            .with_min_len(PANELS_AT_LEAST)
            .for_each_init(
                || pool.lend(self.along_y),
                |work, (number, target)| {
                    self.column_panel(number, half, &weights, target, work.get());
                },
            );
        light
    }

    /// Blocks of a panel of rows: one for each layer that has rows and each eight x samples.
    fn panel_len(&self) -> usize {
        let layers = 1 + self.layers.iter().filter(|layer| layer.has_rows()).count();
        layers * self.layer_len()
    }

    fn layer_len(&self) -> usize {
        self.along_x.outputs().div_ceil(LANES) * LANES
    }

    /// Eight rows → their x samples, for the field and every derivative of it.
    fn row_panel(&self, number: usize, blocks: &mut [Lanes<T>], work: &mut Work<T>) {
        let first = self.rows.start + number * LANES;
        let rows = first..(first + LANES).min(self.rows.end);
        let keep = !self.layers.is_empty();
        let columns = self.fill(rows.clone(), work);
        if keep {
            work.base.clear();
            work.base
                .extend_from_slice(work.panel.inside(columns.clone()));
            if let Some(averages) = self.layers.iter().find_map(SlopeLayer::averages) {
                for (row, dimming) in rows.clone().zip(&mut work.dimming) {
                    averages.dimming_slopes(row, dimming);
                }
            }
        }
        let with_rows = self.layers.iter().filter(|layer| layer.has_rows());
        let layers = std::iter::once(None).chain(with_rows.map(Some));
        for (layer, blocks) in layers.zip(blocks.chunks_exact_mut(self.layer_len())) {
            if let Some(layer) = layer {
                self.differentiate(layer, rows.clone(), columns.clone(), work);
            }
            self.along_x
                .run(&mut work.panel, &mut work.lines, &mut work.scratch);
            for lane in 0..rows.len() {
                let [first, second] = self.along_x.line(&work.lines, lane);
                store(blocks, lane, 0, first);
                store(blocks, lane, first.len(), second);
            }
        }
    }

    /// Puts eight rows of the field into the panel; returns the columns that hold anything.
    fn fill(&self, rows: Range<usize>, work: &mut Work<T>) -> Range<usize> {
        let spans: Vec<Range<usize>> = rows.clone().map(|row| self.field.rows.span(row)).collect();
        let lit = spans.iter().filter(|span| !span.is_empty());
        let first = lit.clone().map(|span| span.start).min().unwrap_or(0);
        let last = lit.map(|span| span.end).max().unwrap_or(first);
        let inside = work.panel.inside(first..last);
        let nothing = [Complex::new(T::zero(), T::zero()); WAVES_AT_ONCE];
        let mut values = [nothing; LANES];
        for (number, slots) in inside.chunks_mut(WAVES_AT_ONCE).enumerate() {
            let start = first + number * WAVES_AT_ONCE;
            for ((span, row), values) in spans.iter().zip(rows.clone()).zip(&mut values) {
                let columns = start.max(span.start)..(start + slots.len()).min(span.end);
                if columns.len() < slots.len() {
                    *values = nothing;
                }
                if !columns.is_empty() {
                    let turns = &self.along_x.turns()[columns.clone()];
                    let turns = PhaseTurns {
                        row: self.along_y.turns()[row],
                        columns: turns,
                    };
                    let out = &mut values[columns.start - start..columns.end - start];
                    self.field.rows.fill(row, columns, turns, out);
                }
            }
            for (k, slot) in slots.iter_mut().enumerate() {
                for (slot, values) in slot.iter_mut().zip(&values) {
                    *slot = values[k];
                }
            }
        }
        first..last
    }

    /// Puts a derivative of what `base` holds into the panel.
    fn differentiate(
        &self,
        layer: &SlopeLayer<T>,
        rows: Range<usize>,
        columns: Range<usize>,
        work: &mut Work<T>,
    ) {
        let inside = work.panel.inside(columns.clone());
        let mut line = std::mem::take(&mut work.line);
        for (lane, row) in rows.enumerate() {
            line.clear();
            line.extend(work.base.iter().map(|lanes| lanes[lane]));
            let span = self.field.rows.span(row);
            if !span.is_empty() {
                let own = span.start - columns.start..span.end - columns.start;
                layer.differentiate(row, span.start, &work.dimming[lane], &mut line[own]);
            }
            for (slot, value) in inside.iter_mut().zip(&line) {
                slot[lane] = *value;
            }
        }
        work.line = line;
    }

    /// Eight columns of x samples → the light per row of cells and its derivatives.
    fn column_panel(
        &self,
        number: usize,
        half: &[Lanes<T>],
        weights: &[T],
        mut target: ArrayViewMut3<f64>,
        work: &mut Work<T>,
    ) {
        let columns = number * LANES..number * LANES + target.len_of(Axis(0));
        let mut stored = 0;
        for layer in 0..=self.layers.len() {
            let change = layer.checked_sub(1).map(|k| &self.layers[k]);
            let own_rows = change.is_none_or(SlopeLayer::has_rows);
            let place = if own_rows { stored } else { 0 };
            self.gather(number, place, half, work, change.filter(|_| !own_rows));
            self.along_y
                .run(&mut work.panel, &mut work.lines, &mut work.scratch);
            for (lane, column) in columns.clone().enumerate() {
                work.light(self, change, lane, column);
                let factor = self.correction_x[column];
                let cells = target.index_axis_mut(Axis(0), lane);
                let cells = cells.index_axis_move(Axis(0), layer);
                add_rows(&work.power, weights, self.window.sub_samples, factor, cells);
            }
            if change.is_none() && !self.layers.is_empty() {
                let room = Complex::new(T::zero(), T::zero());
                work.base_lines.resize(work.lines.len(), room);
                std::mem::swap(&mut work.lines, &mut work.base_lines);
            }
            stored += usize::from(own_rows);
        }
    }

    /// Collects a panel of columns from the blocks of all rows.
    fn gather(
        &self,
        number: usize,
        layer: usize,
        half: &[Lanes<T>],
        work: &mut Work<T>,
        factors: Option<&SlopeLayer<T>>,
    ) {
        let inside = work.panel.inside(self.rows.clone());
        let start = layer * self.layer_len() + number * LANES;
        let panels = half.chunks_exact(self.panel_len());
        for (slots, panel) in inside.chunks_mut(LANES).zip(panels) {
            slots.copy_from_slice(&panel[start..start + slots.len()]);
        }
        if let Some(layer) = factors {
            for (slots, row) in inside.iter_mut().zip(self.rows.clone()) {
                let factor = layer.row_factor(row);
                for slot in slots {
                    *slot = Complex::new(-slot.im * factor, slot.re * factor);
                }
            }
        }
    }
}

/// Panels that a thread takes before it may share.
const PANELS_AT_LEAST: usize = 3;

/// Puts x samples of a row, from number `first` on, into their blocks.
fn store<T: Real>(blocks: &mut [Lanes<T>], lane: usize, first: usize, samples: &[Complex<T>]) {
    let to_border = first.next_multiple_of(LANES) - first;
    let (before, rest) = samples.split_at(to_border.min(samples.len()));
    for (x, value) in (first..).zip(before) {
        blocks[x / LANES * LANES + lane][x % LANES] = *value;
    }
    let next = (first + before.len()) / LANES * LANES;
    let next = next.min(blocks.len());
    let mut targets = blocks[next..].chunks_exact_mut(LANES);
    let (whole, last) = rest.as_chunks::<LANES>();
    for (values, block) in whole.iter().zip(&mut targets) {
        block[lane] = *values;
    }
    if let (false, Some(block)) = (last.is_empty(), targets.next()) {
        block[lane][..last.len()].copy_from_slice(last);
    }
}

/// Adds the samples of each cell along a column.
fn add_rows<T: Real>(
    power: &[T],
    weights: &[T],
    sub_samples: usize,
    factor: f64,
    mut cells: ndarray::ArrayViewMut1<f64>,
) {
    for (row, sum) in cells.iter_mut().enumerate() {
        let cell: T = power[row * sub_samples..]
            .iter()
            .zip(weights)
            .fold(T::zero(), |s, (p, w)| s + *p * *w);
        *sum = factor * cell.widen();
    }
}

/// Buffers of one thread.
pub(super) struct Work<T: Real> {
    panel: Panel<T>,
    lines: Vec<Complex<T>>,
    scratch: Vec<Complex<T>>,
    /// The field in eight rows, kept for its derivatives.
    base: Vec<Lanes<T>>,
    /// How the dimming of its cells changes.
    dimming: [Vec<[f64; 2]>; LANES],
    /// The field in eight columns, transformed, for the products with its derivatives.
    base_lines: Vec<Complex<T>>,
    line: Vec<Complex<T>>,
    power: Vec<T>,
}

/// Buffers that wait for a thread to need them.
pub(super) struct WorkPool<T: Real>(Mutex<Vec<Work<T>>>);

/// Buffers in use; they go back when it ends.
struct Lent<'a, T: Real> {
    pool: &'a WorkPool<T>,
    work: Option<Work<T>>,
}

impl<T: Real> WorkPool<T> {
    /// Nothing in it yet.
    pub fn new() -> Self {
        WorkPool(Mutex::default())
    }

    /// Buffers with room for a transform.
    fn lend(&self, transform: &ZoomTransform<T>) -> Lent<'_, T> {
        let mut work = locked(&self.0).pop().unwrap_or_else(Work::new);
        work.fit(transform);
        Lent {
            pool: self,
            work: Some(work),
        }
    }
}

impl<T: Real> Lent<'_, T> {
    fn get(&mut self) -> &mut Work<T> {
        self.work.get_or_insert_with(Work::new)
    }
}

impl<T: Real> Drop for Lent<'_, T> {
    fn drop(&mut self) {
        locked(&self.pool.0).extend(self.work.take());
    }
}

impl<T: Real> Work<T> {
    fn new() -> Self {
        Work {
            panel: Panel::default(),
            lines: Vec::new(),
            scratch: Vec::new(),
            base: Vec::new(),
            dimming: Default::default(),
            base_lines: Vec::new(),
            line: Vec::new(),
            power: Vec::new(),
        }
    }

    fn fit(&mut self, along: &ZoomTransform<T>) {
        let zero = Complex::new(T::zero(), T::zero());
        self.panel.fit(along);
        self.lines.resize(along.lines_len(), zero);
        self.scratch.resize(along.scratch_len(), zero);
        self.power.resize(along.outputs(), T::zero());
    }

    /// |U|² of a line, or its derivative, into `power`.
    fn light(
        &mut self,
        passes: &Passes<T>,
        change: Option<&SlopeLayer<T>>,
        lane: usize,
        column: usize,
    ) {
        let own = passes.along_y.line(&self.lines, lane);
        let mut first = 0;
        for (piece, values) in own.into_iter().enumerate() {
            let range = first..first + values.len();
            let power = &mut self.power[range.clone()];
            let correction = &passes.correction_y[range];
            vectorised(
                #[inline(always)]
                || match change {
                    None => {
                        for ((p, u), c) in power.iter_mut().zip(values).zip(correction) {
                            *p = u.norm_sqr() * *c;
                        }
                    }
                    Some(layer) => {
                        let base = passes.along_y.line(&self.base_lines, lane)[piece];
                        layer.products(base, values, column, first, power);
                        for (p, c) in power.iter_mut().zip(correction) {
                            *p = *p * *c;
                        }
                    }
                },
            );
            first += values.len();
        }
    }
}
