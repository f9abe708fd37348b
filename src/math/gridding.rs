//! The zoomed discrete transform Σ a_i exp(−2πi·i·(j·step + start)) at any step, for several lines at once.
//!
//! The plain FFT gives one fixed step, 1/length; a camera's pixels rarely fall on it. Here every input i is laid on a circle
//! of cells at the place i·step of a turn, spread over a few cells by a smooth window; one FFT over the circle gives all
//! outputs; dividing by the transform of the window (the caller does it, through [`ZoomTransform::losses`]) takes the
//! spreading out again. The circle has half as many cells again as there are outputs, however many inputs there are.
//!
//! Eight lines ([`LANES`]) are spread side by side, so that one weight serves eight values.
//!
//! Source: the non-equispaced FFT with the Kaiser-Bessel window: D. Potts, G. Steidl, M. Tasche in *Modern Sampling Theory*
//! (2001), chapter 12; the window pair sinh(b√(m²−x²))/(π√(m²−x²)) ↔ I0(m√(b²−k²)), b = π(2 − 1/σ), from memory, checked
//! by the written-out sum.

use super::real::Real;
use super::simd::vectorised;
use num_complex::Complex;
use rustfft::Fft;
use std::f64::consts::PI;
use std::ops::Range;
use std::sync::Arc;

/// Lines that are transformed together.
pub const LANES: usize = 8;

/// One value of each of [`LANES`] lines.
pub type Lanes<T> = [Complex<T>; LANES];

/// Nothing in every line.
pub fn no_lanes<T: Real>() -> Lanes<T> {
    [Complex::new(T::zero(), T::zero()); LANES]
}

/// A prepared transform of `inputs` values to `outputs` values. Shareable between threads; the buffers are the caller's.
///
/// # Accuracy
/// Relative to the largest output 5e-13 in `f64`, 5e-6 in `f32`: `math::gridding::tests::equals_the_written_out_sum`.
pub struct ZoomTransform<T: Real> {
    inputs: usize,
    outputs: usize,
    /// Cells of the circle.
    length: usize,
    /// Turns that every input's phase must be advanced by first: they put the middle output at frequency zero.
    turns: Vec<f64>,
    table: SpreadTable<T>,
    losses: Vec<f64>,
    fft: Arc<dyn Fft<T>>,
}

/// Which inputs reach which cell, and how much of them.
struct SpreadTable<T> {
    /// Number of the first cell; the circle is unrolled.
    first_cell: i64,
    /// For each cell the first input that reaches it, counted from `taps` before input 0.
    starts: Vec<usize>,
    taps: usize,
    /// `taps` weights a cell.
    weights: Vec<T>,
    cells_per_input: f64,
    reach: f64,
}

/// The inputs of [`LANES`] lines, with room on both sides.
pub struct Panel<T> {
    values: Vec<Lanes<T>>,
    border: usize,
    filled: Range<usize>,
    /// Room for the circle of cells.
    circle: Vec<Lanes<T>>,
}

impl<T: Real> Default for Panel<T> {
    /// A panel without room.
    fn default() -> Self {
        Panel {
            values: Vec::new(),
            border: 0,
            filled: 0..0,
            circle: Vec::new(),
        }
    }
}

impl<T: Real> Panel<T> {
    /// Makes room for a transform.
    pub fn fit(&mut self, transform: &ZoomTransform<T>) {
        self.border = transform.table.taps;
        self.values
            .resize(transform.inputs + 2 * self.border, no_lanes());
        self.circle.resize(transform.length, no_lanes());
    }

    /// Makes the inputs outside `range` zero, and gives those inside to be written.
    pub fn inside(&mut self, range: Range<usize>) -> &mut [Lanes<T>] {
        let (first, last) = (range.start + self.border, range.end + self.border);
        self.values[first - self.border..first].fill(no_lanes());
        self.values[last..last + self.border].fill(no_lanes());
        self.filled = range;
        &mut self.values[first..last]
    }
}

impl<T: Real> ZoomTransform<T> {
    /// Cells of the circle, and length of the forward transform, that so many outputs ask for.
    pub fn length_for(outputs: usize) -> usize {
        fast_length((OVERSAMPLING * outputs as f64).ceil() as usize)
    }

    /// Prepares the sum over i = 0 … inputs−1 of a_i exp(−2πi·i·(j·step + start)), for j = 0 … outputs−1; step > 0. `fft`
    /// is a forward transform of [`length_for`](Self::length_for) values.
    pub fn new(inputs: usize, outputs: usize, step: f64, start: f64, fft: Arc<dyn Fft<T>>) -> Self {
        let length = fft.len();
        let middle = (outputs / 2) as f64;
        let turns = (0..inputs)
            .map(|i| -(i as f64) * (middle * step + start))
            .collect();
        let window = SpreadWindow::new(T::SPREAD_CELLS, length as f64 / outputs as f64);
        ZoomTransform {
            inputs,
            outputs,
            length,
            turns,
            table: SpreadTable::new(inputs, step * length as f64, &window),
            losses: (0..outputs)
                .map(|j| window.transform((j as f64 - middle) / length as f64))
                .collect(),
            fft,
        }
    }

    /// Turns that every input's phase must be advanced by before it is put into a [`Panel`].
    pub fn turns(&self) -> &[f64] {
        &self.turns
    }

    /// Factor that every output of [`run`](Self::run) is too small by, above 0 and at most 1: divide by it.
    pub fn losses(&self) -> &[f64] {
        &self.losses
    }

    /// Number of outputs.
    pub fn outputs(&self) -> usize {
        self.outputs
    }

    /// Room that the lines of a panel need.
    pub fn lines_len(&self) -> usize {
        LANES * self.length
    }

    /// Length of the scratch space.
    pub fn scratch_len(&self) -> usize {
        self.fft.get_inplace_scratch_len()
    }

    /// Transforms a panel; [`line`](Self::line) finds the outputs in `lines`.
    pub fn run(&self, panel: &mut Panel<T>, lines: &mut [Complex<T>], scratch: &mut [Complex<T>]) {
        let mut circle = std::mem::take(&mut panel.circle);
        self.spread(panel, &mut circle, lines);
        panel.circle = circle;
        self.fft.process_with_scratch(lines, scratch);
    }

    /// The outputs of a line, in order: two pieces one after the other, each to be divided by its
    /// [`losses`](Self::losses).
    pub fn line<'a>(&self, lines: &'a [Complex<T>], lane: usize) -> [&'a [Complex<T>]; 2] {
        let line = &lines[lane * self.length..(lane + 1) * self.length];
        let below = self.outputs / 2;
        [&line[self.length - below..], &line[..self.outputs - below]]
    }

    /// Lays the inputs on the circle: first all lines of a cell side by side, then each line for itself.
    fn spread(&self, panel: &Panel<T>, circle: &mut [Lanes<T>], lines: &mut [Complex<T>]) {
        let SpreadTable {
            starts,
            taps,
            weights,
            ..
        } = &self.table;
        let cells = self.table.cells_of(&panel.filled);
        let first = (self.table.first_cell + cells.start as i64).rem_euclid(self.length as i64);
        let first = first as usize;
        // once round at most: the rest is empty, and what is reached is overwritten; else sums need a clean start
        let once = cells.len() <= self.length;
        let empty = self.length.saturating_sub(cells.len());
        if !once {
            circle.fill(no_lanes());
        }
        vectorised(
            #[inline(always)]
            || {
                let mut place = first;
                for cell in cells {
                    let reaching = &panel.values[starts[cell]..starts[cell] + taps];
                    let mut sum = if once { no_lanes() } else { circle[place] };
                    for (value, weight) in reaching.iter().zip(&weights[cell * taps..]) {
                        for (sum, value) in sum.iter_mut().zip(value) {
                            sum.re = sum.re + value.re * *weight;
                            sum.im = sum.im + value.im * *weight;
                        }
                    }
                    circle[place] = sum;
                    place += 1;
                    if place == self.length {
                        place = 0;
                    }
                }
                for _ in 0..empty {
                    circle[place] = no_lanes();
                    place += 1;
                    if place == self.length {
                        place = 0;
                    }
                }
            },
        );
        apart(circle, lines);
    }
}

/// Cells of all lines side by side → each line for itself.
fn apart<T: Real>(circle: &[Lanes<T>], lines: &mut [Complex<T>]) {
    let mut lines = lines.chunks_exact_mut(circle.len());
    while let (Some(a), Some(b), Some(c), Some(d)) =
        (lines.next(), lines.next(), lines.next(), lines.next())
    {
        let first = LANES - 4 - 4 * (lines.len() / 4);
        let targets = a.iter_mut().zip(b).zip(c).zip(d);
        for ((((a, b), c), d), cell) in targets.zip(circle) {
            (*a, *b) = (cell[first], cell[first + 1]);
            (*c, *d) = (cell[first + 2], cell[first + 3]);
        }
    }
}

impl<T: Real> SpreadTable<T> {
    fn new(inputs: usize, cells_per_input: f64, window: &SpreadWindow) -> Self {
        let reach = window.reach;
        // when every input can reach a cell, all are taken
        let taps = ((2.0 * reach / cells_per_input).floor() as usize + 1).min(inputs);
        let first_cell = (-reach).floor() as i64 + 1;
        let last_cell = ((inputs as f64 - 1.0) * cells_per_input + reach).ceil() as i64 - 1;
        let count = (last_cell - first_cell + 1) as usize;
        let (mut starts, mut weights) = (Vec::new(), Vec::with_capacity(count * taps));
        for cell in first_cell..=last_cell {
            let first = ((cell as f64 - reach) / cells_per_input).ceil() as i64;
            // at most `taps` before input 0, and ending at most `taps` after the last
            let first = if taps == inputs {
                0
            } else {
                first.clamp(-(taps as i64), inputs as i64)
            };
            starts.push((first + taps as i64) as usize);
            weights.extend((first..first + taps as i64).map(|input| {
                T::narrow(window.value(cell as f64 - input as f64 * cells_per_input))
            }));
        }
        SpreadTable {
            first_cell,
            starts,
            taps,
            weights,
            cells_per_input,
            reach,
        }
    }

    /// The cells that any of these inputs reaches.
    fn cells_of(&self, inputs: &Range<usize>) -> Range<usize> {
        if inputs.is_empty() {
            return 0..0;
        }
        let place = |input: usize| input as f64 * self.cells_per_input;
        let first = (place(inputs.start) - self.reach).floor() as i64 + 1 - self.first_cell;
        let last = (place(inputs.end - 1) + self.reach).ceil() as i64 - self.first_cell;
        first.max(0) as usize..(last.max(0) as usize).min(self.starts.len())
    }
}

/// The window that spreads, and its transform; both divided by the transform at frequency zero.
struct SpreadWindow {
    /// Half width in cells (m).
    reach: f64,
    /// Shape (b).
    shape: f64,
    scale: f64,
}

impl SpreadWindow {
    fn new(cells: usize, oversampling: f64) -> Self {
        let reach = 0.5 * cells as f64;
        let shape = PI * (2.0 - 1.0 / oversampling);
        SpreadWindow {
            reach,
            shape,
            scale: 1.0 / bessel_i0(reach * shape),
        }
    }

    fn value(&self, cells: f64) -> f64 {
        let inside = self.reach * self.reach - cells * cells;
        if inside <= 0.0 {
            return 0.0;
        }
        let root = inside.sqrt();
        let grown = libm::exp(self.shape * root);
        self.scale * 0.5 * (grown - 1.0 / grown) / (PI * root)
    }

    fn transform(&self, cycles_per_cell: f64) -> f64 {
        let angle = 2.0 * PI * cycles_per_cell;
        self.scale * bessel_i0(self.reach * (self.shape * self.shape - angle * angle).sqrt())
    }
}

/// Modified Bessel function I0 by its power series (Abramowitz and Stegun 9.6.12); all terms are positive.
fn bessel_i0(x: f64) -> f64 {
    let quarter_square = 0.25 * x * x;
    let (mut term, mut sum) = (1.0, 1.0);
    for k in 1..200 {
        term *= quarter_square / f64::from(k * k);
        sum += term;
        if term < 1e-17 * sum {
            break;
        }
    }
    sum
}

/// Cells of the circle an output, at least.
const OVERSAMPLING: f64 = 1.5;

/// The smallest length ≥ `at_least` of the form 2^a 3^b 5^c with b + c small: what the FFT does fastest.
fn fast_length(at_least: usize) -> usize {
    let mut best = at_least.next_power_of_two();
    for odd in [3, 5, 9, 15] {
        let mut length = odd;
        while length < at_least {
            length *= 2;
        }
        best = best.min(length);
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::math::{Planner, cis_turns};

    /// Largest deviation from the sum written out, over its largest value.
    fn deviation<T: Real>(inputs: usize, outputs: usize, step: f64, filled: Range<usize>) -> f64 {
        let start = -0.31;
        let value = |i: usize, lane: usize| {
            let (i, lane) = (i as f64, lane as f64);
            Complex::new((i * 0.7 + lane).sin(), 0.3 * (i * (1.3 + 0.1 * lane)).cos())
        };
        let transform = {
            let length = ZoomTransform::<T>::length_for(outputs);
            let fft = Planner::new(false).forward(length);
            ZoomTransform::<T>::new(inputs, outputs, step, start, fft)
        };
        let mut panel = Panel::default();
        panel.fit(&transform);
        let zero = Complex::new(T::zero(), T::zero());
        let mut lines = vec![zero; transform.lines_len()];
        let mut scratch = vec![zero; transform.scratch_len()];
        for (k, slot) in panel.inside(filled.clone()).iter_mut().enumerate() {
            let turned = cis_turns::<f64>(transform.turns()[filled.start + k]);
            for (lane, slot) in slot.iter_mut().enumerate() {
                let v = value(filled.start + k, lane) * turned;
                *slot = Complex::new(T::narrow(v.re), T::narrow(v.im));
            }
        }
        transform.run(&mut panel, &mut lines, &mut scratch);
        let (mut worst, mut largest) = (0.0f64, 0.0f64);
        for lane in 0..LANES {
            let got = transform.line(&lines, lane).concat();
            for (j, (got, loss)) in got.iter().zip(transform.losses()).enumerate() {
                let direct: Complex<f64> = filled
                    .clone()
                    .map(|i| {
                        value(i, lane) * cis_turns::<f64>(-(i as f64) * (j as f64 * step + start))
                    })
                    .sum();
                let got = Complex::new(got.re.widen(), got.im.widen()) / *loss;
                worst = worst.max((got - direct).norm());
                largest = largest.max(direct.norm());
            }
        }
        // the panel serves again, with nothing in it
        panel.inside(0..0);
        transform.run(&mut panel, &mut lines, &mut scratch);
        assert!(lines.iter().all(|v| *v == zero));
        worst / largest
    }

    /// Slow twin: the sum written out; more outputs than inputs, fewer, a circle that is gone round twice, a single output.
    #[test]
    fn equals_the_written_out_sum() {
        for (inputs, outputs, step, filled) in [
            (37, 53, 0.0123, 3..30),
            (301, 64, 1.0 / 330.0, 0..301),
            (301, 64, 0.0071, 17..290),
            (40, 1, 0.003, 1..40),
            (61, 7, 1e-7, 0..61),
            (144, 700, 0.385 / 144.0, 2..141),
        ] {
            let double = deviation::<f64>(inputs, outputs, step, filled.clone());
            assert!(double < 5e-13, "{inputs} {outputs} {step}: {double:.1e}");
            let single = deviation::<f32>(inputs, outputs, step, filled);
            assert!(single < 5e-6, "{inputs} {outputs} {step}: {single:.1e}");
        }
    }

    /// Abramowitz and Stegun, table 9.8: e^-x I0(x) at x = 1 and 5 (from memory), and the first terms for a small x.
    #[test]
    fn bessel_function_agrees_with_the_table() {
        assert!((bessel_i0(1.0) * (-1.0f64).exp() - 0.465_759_607_6).abs() < 1e-9);
        assert!((bessel_i0(5.0) * (-5.0f64).exp() - 0.183_540_812_6).abs() < 1e-9);
        assert!((bessel_i0(0.01) - (1.0 + 0.25e-4 + 0.015625e-8)).abs() < 1e-15);
    }

    #[test]
    fn fast_lengths_are_smooth_and_tight() {
        for at_least in [1, 2, 7, 100, 1023, 1025, 2431, 3600] {
            let length = fast_length(at_least);
            assert!(
                length >= at_least && length < at_least * 5 / 4 + 4,
                "{at_least} → {length}"
            );
        }
    }
}
