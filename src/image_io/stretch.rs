//! From electrons or counts to 256 grays for the eye: the sky black, the brightest pixel white, faint rings still visible.
//!
//! A star's middle is hundreds of times brighter than its rings, so a straight scale shows a dot on black; a wide doughnut has
//! little contrast, and a strong stretch would wash it out. The curve here is straight near black and logarithmic near white:
//! gray = asinh(x·sinh a)/a, x the brightness between black (0) and white (1). Its strength a is the one that draws the middle
//! value of the lit pixels at middle gray, between nearly straight (0.5) and very strong (7.5), and never so strong that twice
//! the noise leaves the straight part, or the picture would show mostly noise.
//!
//! For looking at only: nothing is measured on a stretched picture, and a single hot pixel does set the white point.
//! The curve is inverted: the brightness at which each gray begins is worked out once, from additions, multiplications and one
//! short power series, so that every processor gives the same grays.

use ndarray::Array2;

/// The limits of a display stretch. Panels that are to be compared share one: see [`Stretch::merged`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Value drawn black, and everything below it.
    pub black: f64,
    /// Value drawn white, and everything above it.
    pub white: f64,
    /// Value that should come out in middle gray.
    pub middle: f64,
    /// Spread of the background, one standard deviation; keeps the curve from lifting noise.
    pub noise: f64,
}

impl Stretch {
    /// The stretch that suits one image.
    ///
    /// Background and noise are taken from the outermost pixels, where the star is faintest: black is their median plus one
    /// standard deviation, the latter from the lower half of their spread only, which starlight does not widen. White is the
    /// brightest pixel. The middle is the median of the lit pixels: those more than four standard deviations above the
    /// background and brighter than a 2000th of the peak. Pixels that are not finite numbers are left out; an image with no
    /// other pixel gives limits of 0.
    pub fn of(image: &Array2<f64>) -> Stretch {
        let border = sorted_values(image, |row, column| is_border(image.dim(), row, column));
        let all = sorted_values(image, |_, _| true);
        let background = quantile(&border, 0.5);
        let noise = background - quantile(&border, LOWER_SIGMA);
        let white = all.last().copied().unwrap_or(0.0);
        let floor = background + (LIT_SIGMA * noise).max(LIT_SHARE * (white - background));
        let lit = &all[all.partition_point(|value| *value <= floor)..];
        let middle = if lit.is_empty() {
            white
        } else {
            quantile(lit, 0.5)
        };
        Stretch {
            black: (background + noise).min(white),
            white,
            middle,
            noise,
        }
    }

    /// One stretch for several panels: the lowest black and middle, the highest white, the largest noise.
    pub fn merged(self, other: Stretch) -> Stretch {
        Stretch {
            black: self.black.min(other.black),
            white: self.white.max(other.white),
            middle: self.middle.min(other.middle),
            noise: self.noise.max(other.noise),
        }
    }

    /// The values at which grays 1 to 255 begin, ascending.
    fn gray_starts(&self) -> [f64; 255] {
        let span = self.white - self.black;
        let curve = hyperbolic_sine_table(strength(
            self.noise / span,
            (self.middle - self.black) / span,
        ));
        std::array::from_fn(|index| self.black + span * curve[2 * index + 1] / curve[HALF_STEPS])
    }
}

/// The image in 256 grays, row 0 at the bottom as in `image`. Pixels that are not a number come out black.
///
/// An image without any contrast (white not above black) comes out all black.
pub fn display(image: &Array2<f64>, stretch: &Stretch) -> Array2<u8> {
    let has_contrast = stretch.white > stretch.black;
    if !has_contrast {
        return Array2::zeros(image.raw_dim());
    }
    let starts = stretch.gray_starts();
    image.mapv(|value| {
        let gray = if value.is_nan() {
            0
        } else {
            starts.partition_point(|start| *start <= value)
        };
        u8::try_from(gray).unwrap_or(u8::MAX)
    })
}

/// Share of a normal distribution that lies below its mean minus one standard deviation.
const LOWER_SIGMA: f64 = 0.158_655;

/// A lit pixel is this many standard deviations above the background,
const LIT_SIGMA: f64 = 4.0;
/// and at least this share of the peak above it.
const LIT_SHARE: f64 = 0.0005;
/// Strengths of the curve: nearly straight, as strong as it gets, and from one to the next.
const GENTLEST: f64 = 0.5;
const STRONGEST: f64 = 7.5;
const STRENGTH_STEP: f64 = 0.25;
/// The straight part of the curve reaches at least this many standard deviations of noise.
const STRAIGHT_SIGMA: f64 = 2.0;
/// Half steps of gray from black to white, and to middle gray.
const HALF_STEPS: usize = 510;
const MIDDLE_HALF_STEPS: usize = 230;

/// Strength of the curve for a noise and a middle value given as fractions of white − black.
fn strength(noise: f64, middle: f64) -> f64 {
    let mut strength = GENTLEST;
    while strength < STRONGEST {
        let stronger = hyperbolic_sine_table(strength + STRENGTH_STEP);
        let middle_is_bright_enough = stronger[MIDDLE_HALF_STEPS] < middle * stronger[HALF_STEPS];
        let lifts_noise = STRAIGHT_SIGMA * noise * stronger[HALF_STEPS] > 1.0;
        if middle_is_bright_enough || lifts_noise {
            break;
        }
        strength += STRENGTH_STEP;
    }
    strength
}

/// sinh(strength · k/510) for k = 0 to 510, by powers of exp(strength/510).
fn hyperbolic_sine_table(strength: f64) -> [f64; HALF_STEPS + 1] {
    let ratio = small_exponential(strength / HALF_STEPS as f64);
    let mut power = 1.0;
    std::array::from_fn(|_| {
        let value = 0.5 * (power - 1.0 / power);
        power *= ratio;
        value
    })
}

/// exp(x) for |x| ≤ 0.015 by its power series; the first term left out is below 1e-19.
fn small_exponential(x: f64) -> f64 {
    (1..=7)
        .rev()
        .fold(1.0, |sum, term| 1.0 + x * sum / f64::from(term))
}

/// Whether a pixel is one of the outermost: a twentieth of the shorter side deep, at least one pixel.
fn is_border((rows, columns): (usize, usize), row: usize, column: usize) -> bool {
    let depth = (rows.min(columns) / 20).max(1);
    row < depth || column < depth || row + depth >= rows || column + depth >= columns
}

/// The finite values of some pixels, ascending.
fn sorted_values(image: &Array2<f64>, wanted: impl Fn(usize, usize) -> bool) -> Vec<f64> {
    let mut values: Vec<f64> = image
        .indexed_iter()
        .filter(|((row, column), value)| value.is_finite() && wanted(*row, *column))
        .map(|(_, value)| *value)
        .collect();
    values.sort_unstable_by(f64::total_cmp);
    values
}

/// The one of the sorted values below which the share `fraction` of them lies; 0 when there are none. A picture has so many that
/// nothing is taken between two, as a score does.
fn quantile(sorted: &[f64], fraction: f64) -> f64 {
    let place = (fraction * sorted.len() as f64) as usize;
    sorted
        .get(place.min(sorted.len().saturating_sub(1)))
        .copied()
        .unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use ndarray::Array;

    /// A dim ring at one thousandth of the peak about a bright spot, on a background of 100.
    fn ringed_spot() -> Array2<f64> {
        Array::from_shape_fn((41, 53), |(row, column)| {
            let radius = ((row as f64 - 20.0).powi(2) + (column as f64 - 26.0).powi(2)).sqrt();
            100.0
                + if radius < 1.5 {
                    20_000.0
                } else if (8.0..9.0).contains(&radius) {
                    80.0
                } else {
                    0.0
                }
        })
    }

    #[test]
    fn sky_is_black_peak_is_white_and_a_ring_a_250th_as_bright_is_seen() {
        let image = ringed_spot();
        let gray = display(&image, &Stretch::of(&image));
        assert_eq!(gray[[0, 0]], 0);
        assert_eq!(gray[[20, 26]], 255);
        // The strongest curve, by hand: asinh(0.004·sinh 7.5)/7.5·255 = 68.
        assert!(
            (67..=69).contains(&gray[[20, 34]]),
            "the ring is drawn at {}",
            gray[[20, 34]]
        );
    }

    #[test]
    fn the_median_of_the_lit_pixels_comes_out_in_middle_gray() {
        let image = Array::from_shape_fn((61, 61), |(row, column)| {
            let radius = ((row as f64 - 30.0).powi(2) + (column as f64 - 30.0).powi(2)).sqrt();
            if radius < 2.0 {
                1000.0
            } else if radius < 15.0 {
                30.0
            } else {
                0.0
            }
        });
        let gray = display(&image, &Stretch::of(&image))[[30, 40]];
        assert!(
            (108..=118).contains(&gray),
            "230 of 510 half steps is 115; drawn at {gray}"
        );
    }

    #[test]
    fn an_evenly_lit_doughnut_is_not_washed_out() {
        let image = Array::from_shape_fn((81, 81), |(row, column)| {
            let radius = ((row as f64 - 40.0).powi(2) + (column as f64 - 40.0).powi(2)).sqrt();
            if (10.0..30.0).contains(&radius) {
                100.0 + 3.0 * (radius - 10.0)
            } else {
                0.0
            }
        });
        let gray = display(&image, &Stretch::of(&image));
        let (inner, outer) = (f64::from(gray[[40, 51]]), f64::from(gray[[40, 69]]));
        assert!(
            inner / outer < 0.75,
            "103 of 157 is drawn as {inner} of {outer}"
        );
    }

    #[test]
    fn the_curve_is_the_inverse_hyperbolic_sine_it_claims_to_be() {
        // A middle of 0 asks for the strongest curve.
        let stretch = Stretch {
            black: 3.0,
            white: 45.0,
            middle: 3.0,
            noise: 0.0,
        };
        let starts = stretch.gray_starts();
        for gray in [1usize, 17, 100, 254, 255] {
            let brightness = (starts[gray - 1] - 3.0) / 42.0;
            let drawn = 255.0 * (brightness * STRONGEST.sinh()).asinh() / STRONGEST;
            assert_relative_eq!(drawn, gray as f64 - 0.5, epsilon = 1e-9);
        }
    }

    #[test]
    fn noise_makes_the_curve_gentler() {
        let quiet = Stretch {
            black: 0.0,
            white: 1.0,
            middle: 0.0,
            noise: 0.0,
        };
        let noisy = Stretch {
            noise: 0.1,
            ..quiet
        };
        let faint = Array::from_elem((1, 1), 0.05);
        assert!(display(&faint, &noisy)[[0, 0]] < display(&faint, &quiet)[[0, 0]] / 2);
        // Straight up to twice the noise, 0.2: strength at most asinh(5) = 2.31, in steps of 0.25: 2.25.
        let expected = 255.0 * (0.05 * 2.25f64.sinh()).asinh() / 2.25;
        assert_eq!(f64::from(display(&faint, &noisy)[[0, 0]]), expected.round());
    }

    #[test]
    fn panels_that_share_a_stretch_can_be_compared() {
        let bright = ringed_spot();
        let dim = bright.mapv(|value| 0.5 * value);
        let shared = Stretch::of(&bright).merged(Stretch::of(&dim));
        assert!(display(&dim, &shared)[[20, 26]] < display(&bright, &shared)[[20, 26]]);
    }

    #[test]
    fn what_is_not_a_number_is_black_and_never_a_limit() {
        let mut image = ringed_spot();
        image[[0, 0]] = f64::NAN;
        image[[40, 52]] = f64::INFINITY;
        let stretch = Stretch::of(&image);
        assert_eq!(stretch, Stretch::of(&ringed_spot()));
        assert_eq!(display(&image, &stretch)[[0, 0]], 0);
        assert_eq!(display(&image, &stretch)[[40, 52]], 255);
    }

    #[test]
    fn an_image_without_contrast_is_black() {
        for image in [
            Array2::from_elem((4, 6), 7.0),
            Array2::from_elem((4, 6), f64::NAN),
            Array2::zeros((0, 3)),
        ] {
            let gray = display(&image, &Stretch::of(&image));
            assert!(gray.iter().all(|value| *value == 0));
        }
    }

    #[test]
    fn starlight_on_part_of_the_border_moves_neither_black_nor_noise() {
        let mut image = ringed_spot();
        image
            .row_mut(0)
            .iter_mut()
            .for_each(|value| *value += 5_000.0);
        let stretch = Stretch::of(&image);
        assert_eq!((stretch.black, stretch.noise), (100.0, 0.0));
    }
}
