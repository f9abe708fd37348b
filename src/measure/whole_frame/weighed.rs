//! Moments of a star under a Gaussian window about its own centre: shapes whose noise is known and whose model is closed (`corners/rays.rs`).
//!
//! The window makes faint wings and neighbours count little. Its width is the star's own, and is handed on with the moments: a model
//! is weighed by the same window, so that nothing has to be corrected. Everything is in frame axes and pixels.

use ndarray::Array2;

use super::shapes::PixelNoise;

/// Moments of the light under the window, each over the windowed light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weighed {
    /// Standard deviation of the window along either axis.
    pub window_px: f64,
    /// ⟨x²⟩, ⟨xy⟩, ⟨y²⟩.
    pub second_px2: [f64; 3],
    /// ⟨|r|² x⟩, ⟨|r|² y⟩.
    pub third_px3: [f64; 2],
    /// ⟨|r|⁴⟩.
    pub fourth_px4: f64,
    /// Standard deviations of ⟨|r|²⟩, of ⟨x²⟩ − ⟨y²⟩ (and 2⟨xy⟩), of either third moment, and of the fourth.
    pub sigmas: [f64; 4],
}

/// Width of the window over the star's half-flux diameter, and its least width in pixels: narrower ones see single pixels.
const WINDOW_DIAMETERS: f64 = 0.6;
const LEAST_WINDOW_PX: f64 = 1.6;
/// The window is cut off here, in standard deviations: 3e-4 of its middle.
const REACH: f64 = 4.0;
/// Rounds in which the centre settles, and when it has, pixels.
const ROUNDS: usize = 40;
const AT_REST_PX: f64 = 1e-4;

/// Weighs a star; `None` where the window leaves the frame or holds no light.
pub(super) fn weigh(
    light: &Array2<f64>,
    start_px: [f64; 2],
    diameter_px: f64,
    noise: PixelNoise,
) -> Option<Weighed> {
    let window_px = (WINDOW_DIAMETERS * diameter_px).max(LEAST_WINDOW_PX);
    let mut centre = start_px;
    for _ in 0..ROUNDS {
        let (mut sum, mut x_sum, mut y_sum, mut square) = (0.0, 0.0, 0.0, 0.0);
        over(light, centre, window_px, |[x, y], weighed, _| {
            sum += weighed;
            x_sum += weighed * x;
            y_sum += weighed * y;
            square += weighed * (x * x + y * y);
        })?;
        if sum <= 0.0 {
            return None;
        }
        // a centre that moves takes its window along: the first moment falls by 1 − ⟨x²⟩/window² of the move
        let gain = 1.0 / (1.0 - 0.5 * square / sum / (window_px * window_px)).clamp(0.3, 1.0);
        let step = [x_sum, y_sum].map(|s| gain * s / sum);
        centre = [centre[0] + step[0], centre[1] + step[1]];
        if step[0].hypot(step[1]) < AT_REST_PX {
            break;
        }
        let apart = (centre[0] - start_px[0]).hypot(centre[1] - start_px[1]);
        if apart > window_px + diameter_px || !apart.is_finite() {
            return None;
        }
    }
    moments(light, centre, window_px, noise)
}

fn moments(
    light: &Array2<f64>,
    centre: [f64; 2],
    window_px: f64,
    noise: PixelNoise,
) -> Option<Weighed> {
    let (mut sum, mut second, mut third, mut fourth) = (0.0, [0.0; 3], [0.0; 2], 0.0);
    over(light, centre, window_px, |[x, y], weighed, _| {
        let square = x * x + y * y;
        sum += weighed;
        second = [
            second[0] + weighed * x * x,
            second[1] + weighed * x * y,
            second[2] + weighed * y * y,
        ];
        third = [
            third[0] + weighed * square * x,
            third[1] + weighed * square * y,
        ];
        fourth += weighed * square * square;
    })?;
    if sum <= 0.0 {
        return None;
    }
    let second_px2 = second.map(|s| s / sum);
    let (trace, fourth_px4) = (second_px2[0] + second_px2[2], fourth / sum);
    // how the third moment changes with the centre, over how the first does: the centre is found from the same light
    let w2 = window_px * window_px;
    let with_centre = (0.5 * fourth_px4 / w2 - 2.0 * trace) / (0.5 * trace / w2 - 1.0);
    let difference = second_px2[0] - second_px2[2];
    let mut variance = [0.0; 4];
    over(light, centre, window_px, |[x, y], weighed, weight| {
        let square = x * x + y * y;
        let of_pixel = noise.sigma.powi(2) + (weighed / weight).max(0.0) / noise.gain_e;
        let of_pixel = weight * weight * of_pixel;
        variance[0] += of_pixel * (square - trace).powi(2);
        variance[1] += of_pixel * (x * x - y * y - difference).powi(2);
        variance[2] += of_pixel * 0.5 * square * (square - with_centre).powi(2);
        variance[3] += of_pixel * (square * square - fourth_px4).powi(2);
    })?;
    let found = Weighed {
        window_px,
        second_px2,
        third_px3: third.map(|t| t / sum),
        fourth_px4,
        sigmas: variance.map(|v| v.sqrt() / sum),
    };
    let sound =
        trace > 0.0 && fourth_px4 > 0.0 && found.sigmas.iter().all(|s| s.is_finite() && *s > 0.0);
    sound.then_some(found)
}

/// Calls with each pixel's place from the centre, its windowed light and the window there; `None` where the window leaves the frame.
fn over(
    light: &Array2<f64>,
    centre: [f64; 2],
    window_px: f64,
    mut each: impl FnMut([f64; 2], f64, f64),
) -> Option<()> {
    let (rows, columns) = light.dim();
    let reach = REACH * window_px;
    let low = centre.map(|c| (c - reach).ceil());
    let high = centre.map(|c| (c + reach).floor());
    let fits = low.iter().all(|l| *l >= 0.0)
        && high[0] <= (columns - 1) as f64
        && high[1] <= (rows - 1) as f64;
    if !fits {
        return None;
    }
    for row in low[1] as usize..=high[1] as usize {
        for column in low[0] as usize..=high[0] as usize {
            let (x, y) = (column as f64 - centre[0], row as f64 - centre[1]);
            let weight = libm::exp(-0.5 * (x * x + y * y) / (window_px * window_px));
            each([x, y], weight * light[[row, column]], weight);
        }
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A Gaussian star of variances 4 and 9 px² under a window of variance w is one of 1/(1/4 + 1/w) and 1/(1/9 + 1/w), whose fourth moment
    /// is that of the normal law; its third moments vanish. A wide window: its width is 0.6 of the diameter that is handed over.
    #[test]
    fn a_gaussian_star_has_the_moments_of_the_product_of_two_gaussians() {
        let light = Array2::from_shape_fn((90, 96), |(row, column)| {
            let (x, y) = (column as f64 - 46.3, row as f64 - 43.8);
            1e4 * (-0.5 * (x * x / 4.0 + y * y / 9.0)).exp()
        });
        let noise = PixelNoise {
            sigma: 1.0,
            gain_e: 1.0,
        };
        let found = weigh(&light, [45.0, 45.0], 10.0, noise).expect("a star");
        let [xx, yy] = [4.0, 9.0].map(|v: f64| 1.0 / (1.0 / v + 1.0 / 36.0));
        for (found, wanted) in found.second_px2.iter().zip([xx, 0.0, yy]) {
            assert!((found - wanted).abs() < 5e-3, "{found} {wanted}");
        }
        let fourth = 3.0 * xx * xx + 3.0 * yy * yy + 2.0 * xx * yy;
        assert!((found.fourth_px4 / fourth - 1.0).abs() < 5e-3);
        assert!(found.third_px3.iter().all(|t| t.abs() < 1e-3), "{found:?}");
    }
}
