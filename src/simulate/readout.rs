//! The random half of a camera: expected electrons → counts.
//!
//! Order: the pixel's own sensitivity → photons and dark electrons arrive by chance (Poisson) → full well → read noise →
//! gain and bias → rounding (half up) → the converter's limit.

use crate::frame::Frame;
use crate::instrument::Electronics;
use crate::predict::Expected;
use crate::rng::{Chance, FrameChance, Purpose};
use ndarray::Array2;
use rand::rngs::ChaCha8Rng;
use rand_distr::{Distribution, Normal, Poisson, StandardNormal};
use rayon::prelude::*;

/// Draws a frame. Every row has its own streams: the counts do not depend on the number of threads.
pub fn read_out(
    expected: &Expected,
    electronics: &Electronics,
    pixel_m: f64,
    chance: impl Into<FrameChance>,
) -> Frame {
    let chance = chance.into();
    let mut counts_adu = Array2::zeros(expected.image.dim());
    let saturated_px = counts_adu
        .outer_iter_mut()
        .into_par_iter()
        .zip(expected.image.outer_iter())
        .enumerate()
        .map(|(row, (mut target, source))| {
            let mut streams = RowStreams::new(chance, row as u64);
            let mut full = 0;
            for (adu, electrons) in target.iter_mut().zip(source) {
                let drawn = streams.count(*electrons, expected.dark_per_px, electronics);
                *adu = drawn.0;
                full += usize::from(drawn.1);
            }
            full
        })
        .sum();
    Frame {
        counts_adu,
        pixel_m,
        saturation_adu: saturation_adu(electronics),
        saturated_px,
    }
}

/// Counts of a full pixel: bias + full well / gain, or the converter's limit where that is lower.
pub fn saturation_adu(electronics: &Electronics) -> u16 {
    to_counts(electronics.full_well_e, electronics)
}

/// The largest count of the converter.
fn converter_limit(electronics: &Electronics) -> u32 {
    (1 << electronics.bits) - 1
}

/// Electrons → counts without noise: round half up, then the converter's limit.
pub(super) fn to_counts(electrons: f64, electronics: &Electronics) -> u16 {
    let limit = f64::from(converter_limit(electronics));
    let adu =
        electronics.bias_adu + electrons.min(electronics.full_well_e) / electronics.gain_e_per_adu;
    (adu + 0.5).floor().clamp(0.0, limit) as u16
}

struct RowStreams {
    shot: ChaCha8Rng,
    read: ChaCha8Rng,
    response: ChaCha8Rng,
}

impl RowStreams {
    fn new(chance: FrameChance, row: u64) -> Self {
        RowStreams {
            shot: chance.noise.stream(Purpose::Shot, row),
            read: chance.noise.stream(Purpose::Read, row),
            response: chance.camera.stream(Purpose::PixelResponse, row),
        }
    }

    /// The count of a pixel, and whether it was full or beyond the converter's limit.
    fn count(&mut self, expected_e: f64, dark_e: f64, electronics: &Electronics) -> (u16, bool) {
        let sensitivity = sensitivity(&mut self.response, electronics);
        let mean = (expected_e - dark_e).max(0.0) * sensitivity + dark_e;
        let collected = poisson(mean, &mut self.shot).min(electronics.full_well_e);
        let noise = match Normal::new(0.0, electronics.read_noise_e) {
            Ok(normal) if electronics.read_noise_e > 0.0 => normal.sample(&mut self.read),
            _ => 0.0,
        };
        let unlimited = Electronics {
            full_well_e: f64::INFINITY,
            ..electronics.clone()
        };
        let adu = to_counts(collected + noise, &unlimited);
        let beyond = u32::from(adu) >= converter_limit(electronics);
        (adu, beyond || collected >= electronics.full_well_e)
    }
}

/// How sensitive the next pixel is.
fn sensitivity(stream: &mut ChaCha8Rng, electronics: &Electronics) -> f64 {
    if electronics.pixel_response_rms > 0.0 {
        let spread: f64 = StandardNormal.sample(stream);
        (1.0 + electronics.pixel_response_rms * spread).max(0.0)
    } else {
        1.0
    }
}

/// The flat of a camera: how sensitive each of its pixels is, rows (0 at the bottom) and columns; 1 on average.
pub fn flat(electronics: &Electronics, [rows, columns]: [usize; 2], camera: Chance) -> Array2<f64> {
    let mut flat = Array2::ones((rows, columns));
    for (row, mut pixels) in flat.outer_iter_mut().enumerate() {
        let mut stream = camera.stream(Purpose::PixelResponse, row as u64);
        pixels.mapv_inplace(|_| sensitivity(&mut stream, electronics));
    }
    flat
}

/// A Poisson draw; a mean that is too small or too large for one (0, or beyond 1e19) is returned as it is.
fn poisson(mean: f64, stream: &mut ChaCha8Rng) -> f64 {
    match Poisson::new(mean) {
        Ok(poisson) => poisson.sample(stream),
        Err(_) => mean.max(0.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rng::Seed;

    /// Frames of one camera have its flat in common: the mean of many bright ones, over their level, is the flat to what noise leaves.
    #[test]
    fn the_flat_is_that_of_the_frames_of_its_camera() {
        let electronics = Electronics {
            pixel_response_rms: 0.05,
            full_well_e: 1e9,
            bits: 16,
            ..electronics()
        };
        let expected = Expected {
            image: Array2::from_elem((6, 7), 100_000.0),
            in_electrons: true,
            star_total: 0.0,
            light_in_frame: 1.0,
            background_per_px: 0.0,
            dark_per_px: 0.0,
        };
        let camera = Chance::Seed(Seed(17));
        let mut mean = Array2::zeros((6, 7));
        for number in 0..100 {
            let chance = FrameChance {
                noise: Chance::Key([number; 32]),
                camera,
            };
            let frame = read_out(&expected, &electronics, 1e-6, chance);
            mean += &frame
                .counts_adu
                .mapv(|adu| (f64::from(adu) - 100.0) * 4.0 / 1e7);
        }
        let flat = flat(&electronics, [6, 7], camera);
        // photons leave 1/√(1e5·100) = 3e-4 of a pixel; five times that for the worst of 42
        for (found, wanted) in mean.iter().zip(&flat) {
            assert!((found - wanted).abs() < 1.5e-3, "{found} {wanted}");
        }
        assert!(flat.iter().any(|v| (v - 1.0).abs() > 0.03));
    }

    /// Read noise puts about half of the full pixels below the count of a full one: all are counted.
    #[test]
    fn every_full_pixel_is_counted() {
        let camera = Electronics {
            full_well_e: 12_000.0,
            read_noise_e: 8.0,
            ..electronics()
        };
        let mut streams = RowStreams::new(Seed(3).into(), 0);
        let drawn: Vec<(u16, bool)> = (0..1000)
            .map(|_| streams.count(40_000.0, 0.0, &camera))
            .collect();
        let below = drawn
            .iter()
            .filter(|d| d.0 < saturation_adu(&camera))
            .count();
        assert!((300..700).contains(&below), "{below}");
        assert!(drawn.iter().all(|d| d.1));
        assert!(!streams.count(1000.0, 0.0, &camera).1);
    }

    /// Far more light than any pixel holds is full, not dark.
    #[test]
    fn no_light_is_too_bright_to_be_drawn() {
        use rand::SeedableRng;
        let mut stream = ChaCha8Rng::seed_from_u64(1);
        assert_eq!(poisson(0.0, &mut stream), 0.0);
        for mean in [1e12, 1e19, 1e25] {
            let drawn = poisson(mean, &mut stream);
            assert!((drawn / mean - 1.0).abs() < 1e-4, "{mean:e}: {drawn:e}");
        }
    }

    fn electronics() -> Electronics {
        Electronics {
            quantum_efficiency: 1.0,
            gain_e_per_adu: 4.0,
            bias_adu: 100.0,
            read_noise_e: 0.0,
            dark_e_per_s: 0.0,
            full_well_e: 15_000.0,
            bits: 12,
            pixel_response_rms: 0.0,
        }
    }

    /// Check value `detector.adu` (round half up, full well, 12 bits).
    #[test]
    fn counts_follow_the_published_example() {
        let found = [0.0, 1000.0, 1001.0, 16_000.0, 40_000.0, 90_000.0]
            .map(|e| to_counts(e, &electronics()));
        assert_eq!(found, [100, 350, 350, 3850, 3850, 3850]);
    }

    #[test]
    fn nothing_expected_gives_the_bias() {
        let expected = Expected {
            image: Array2::zeros((3, 5)),
            in_electrons: true,
            star_total: 0.0,
            light_in_frame: 1.0,
            background_per_px: 0.0,
            dark_per_px: 0.0,
        };
        let frame = read_out(&expected, &electronics(), 1e-6, Seed(1));
        assert!(frame.counts_adu.iter().all(|&adu| adu == 100));
    }
}
