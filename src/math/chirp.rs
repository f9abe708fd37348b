//! The zoomed discrete transform Σ a_i exp(−2πi·(i·j·step + i·start)) by Bluestein's chirp, at any step.
//!
//! The plain FFT gives one fixed step, 1/length; a camera's pixels rarely fall on it. Bluestein writes
//! i·j = (i² + j² − (j − i)²)/2, which turns the sum into a convolution. A factor of modulus 1 that depends on j alone is
//! left out: only |·|² is wanted of the result, and products of two results with the same j.
//!
//! Source: L. I. Bluestein, IEEE Trans. Audio Electroacoust. 18, 451 (1970), from memory.

use super::phase::cis_turns;
use super::real::{Planner, Real};
use super::simd::vectorised;
use num_complex::Complex;
use rustfft::Fft;
use std::sync::Arc;

/// A prepared transform of `inputs` values to `outputs` values. Shareable between threads; scratch is the caller's.
pub struct ChirpTransform<T: Real> {
    inputs: usize,
    outputs: usize,
    before: Vec<Complex<T>>,
    kernel: Vec<Complex<T>>,
    forward: Arc<dyn Fft<T>>,
    inverse: Arc<dyn Fft<T>>,
}

impl<T: Real> ChirpTransform<T> {
    /// Prepares the sum over i = 0 … inputs−1 of a_i exp(−2πi·i·(j·step + start)), for j = 0 … outputs−1.
    pub fn new(
        inputs: usize,
        outputs: usize,
        step: f64,
        start: f64,
        planner: &mut Planner<T>,
    ) -> Self {
        let length = fast_length(inputs + outputs - 1);
        let half_square = |i: f64| 0.5 * step * i * i;
        let before = (0..inputs)
            .map(|i| cis_turns(-half_square(i as f64) - start * i as f64))
            .collect();
        let mut response = vec![Complex::new(0.0, 0.0); length];
        for (j, value) in response.iter_mut().enumerate().take(outputs) {
            *value = cis_turns::<f64>(half_square(j as f64));
        }
        for i in 1..inputs {
            response[length - i] = cis_turns::<f64>(half_square(i as f64));
        }
        // the response is transformed in double precision, always portably: it is made once
        Planner::<f64>::new(true)
            .forward(length)
            .process(&mut response);
        let scale = 1.0 / length as f64;
        let kernel = response
            .iter()
            .map(|v| Complex::new(T::narrow(v.re * scale), T::narrow(v.im * scale)))
            .collect();
        ChirpTransform {
            inputs,
            outputs,
            before,
            kernel,
            forward: planner.forward(length),
            inverse: planner.inverse(length),
        }
    }

    /// Length of the work buffer.
    pub fn buffer_len(&self) -> usize {
        self.kernel.len()
    }

    /// Length of the scratch space for the transforms.
    pub fn scratch_len(&self) -> usize {
        self.forward
            .get_inplace_scratch_len()
            .max(self.inverse.get_inplace_scratch_len())
    }

    /// Transforms what `load` puts in: it is called with `first` input number and must return the values from there on.
    ///
    /// `buffer` must have [`buffer_len`](Self::buffer_len) values; the result is its first `outputs` values, the rest garbage.
    /// `values` may be shorter than `inputs`: they stand at inputs `first`, `first + 1`, …, all others are zero.
    pub fn run(
        &self,
        first: usize,
        values: &[Complex<T>],
        buffer: &mut [Complex<T>],
        scratch: &mut [Complex<T>],
    ) {
        debug_assert!(first + values.len() <= self.inputs);
        let last = first + values.len();
        vectorised(|| {
            buffer[..first].fill(Complex::new(T::zero(), T::zero()));
            let slots = buffer[first..last].iter_mut().zip(values);
            for ((slot, value), chirp) in slots.zip(&self.before[first..last]) {
                *slot = *value * *chirp;
            }
            buffer[last..].fill(Complex::new(T::zero(), T::zero()));
        });
        self.forward.process_with_scratch(buffer, scratch);
        vectorised(|| {
            for (value, factor) in buffer.iter_mut().zip(&self.kernel) {
                *value = *value * *factor;
            }
        });
        self.inverse.process_with_scratch(buffer, scratch);
    }

    /// Number of outputs.
    pub fn outputs(&self) -> usize {
        self.outputs
    }
}

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

    /// Slow twin: the sum written out.
    #[test]
    fn equals_the_written_out_sum() {
        let (inputs, outputs, step, start) = (37, 53, 0.0123, -0.31);
        let values: Vec<Complex<f64>> = (0..inputs)
            .map(|i| Complex::new((i as f64 * 0.7).sin(), 0.3 * (i as f64 * 1.3).cos()))
            .collect();
        let transform = ChirpTransform::new(inputs, outputs, step, start, &mut Planner::new(false));
        let mut buffer = vec![Complex::default(); transform.buffer_len()];
        let mut scratch = vec![Complex::default(); transform.scratch_len()];
        transform.run(3, &values[3..30], &mut buffer, &mut scratch);
        for (j, got) in buffer.iter().take(outputs).enumerate() {
            let direct: Complex<f64> = (3..30)
                .map(|i| values[i] * cis_turns::<f64>(-(i as f64) * (j as f64 * step + start)))
                .sum();
            // the transform leaves out a factor of modulus 1 that depends on j alone
            let expected = direct * cis_turns::<f64>(0.5 * step * (j * j) as f64);
            assert!((got - expected).norm() < 1e-12, "{j}: {got} {expected}");
        }
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
