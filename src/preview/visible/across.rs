//! A spike looked at across itself: the mean brightness along its first order, on both sides of the star, against the distance from its line.
//!
//! Pixels are weighted by a Gauss bell of the distance, as an eye that follows the spike along does. With a bell of 0.45 of the spike's width
//! the crest is where this mean is largest near the line; it stands out by its rise over the higher of the two troughs beside it (its
//! prominence), so that neither a neighbour nor the glow of the core passes for a spike. Its place is the summit of the mean with a bell as wide
//! as the spike, climbed to from the line: one that merely splits by less than its width keeps its place.

use super::lines::SpikeLine;
use ndarray::Array2;

/// Width of the bell over the width of the spike.
const BELL: f64 = 0.45 / 2.355;
/// The same for the place.
const PLACE_BELL: f64 = 1.0 / 2.355;
/// Narrowest bell, pixels (one standard deviation).
const LEAST_BELL_PX: f64 = 0.5;
/// Crests are looked for this many widths to either side, at least two pixels.
const SEARCH_WIDTHS: f64 = 1.2;
/// Troughs are looked for this many widths from the crest.
const TROUGH_WIDTHS: f64 = 2.5;
/// Step of the search.
const STEP_PX: f64 = 0.05;

/// The pixels of a spike's first orders.
pub struct Across {
    /// Distance from the line, electrons, variance.
    pixels: Vec<[f64; 3]>,
    bell_px: f64,
    width_px: f64,
}

/// How a spike stands out.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stand {
    /// Where its crest lies across the line; `None` without a crest.
    pub at_px: Option<f64>,
    /// Brightness of the crest.
    pub peak_e: f64,
    /// Its rise over the higher trough.
    pub rise_e: f64,
    /// Noise of the crest's brightness.
    pub noise_e: f64,
    /// Scatter of its place by noise.
    pub scatter_px: f64,
}

impl Stand {
    /// Nothing of it is on the frame.
    pub const OFF_FRAME: Stand = Stand {
        at_px: None,
        peak_e: 0.0,
        rise_e: 0.0,
        noise_e: 0.0,
        scatter_px: f64::INFINITY,
    };

    /// Rise over the light around it.
    pub fn contrast(&self) -> f64 {
        let around = self.peak_e - self.rise_e;
        if around > 0.0 {
            self.rise_e / around
        } else {
            0.0
        }
    }
}

impl Across {
    /// The pixels about one line of a picture; `None` where the frame ends before the first order.
    pub fn new(
        image: &Array2<f64>,
        star_px: [f64; 2],
        line: &SpikeLine,
        variance: &dyn Fn(f64) -> f64,
    ) -> Option<Self> {
        let (rows, columns) = image.dim();
        let reach = line.reach_px[1].max(line.reach_px[0] + 2.0);
        let room = 0.5 * (columns.min(rows) as f64 - 1.0);
        if reach > room {
            return None;
        }
        let half = (SEARCH_WIDTHS + TROUGH_WIDTHS) * line.width_px + 3.0;
        let pixels = image
            .indexed_iter()
            .filter_map(|((row, column), value)| {
                let d = [column as f64 - star_px[0], row as f64 - star_px[1]];
                let along = (d[0] * line.along[0] + d[1] * line.along[1]).abs();
                let across = d[0] * line.across[0] + d[1] * line.across[1];
                let inside = along >= line.reach_px[0] - 0.5 && along <= reach + 0.5;
                (inside && across.abs() <= half).then(|| [across, *value, variance(*value)])
            })
            .collect();
        Some(Across {
            pixels,
            bell_px: (BELL * line.width_px).max(LEAST_BELL_PX),
            width_px: line.width_px,
        })
    }

    /// The brightest pixel of the first order.
    pub fn brightest(image: &Array2<f64>, star_px: [f64; 2], line: &SpikeLine) -> f64 {
        Across::new(image, star_px, line, &|_| 0.0).map_or(0.0, |own| {
            let near = own.pixels.iter().filter(|p| p[0].abs() < own.width_px);
            near.map(|p| p[1]).fold(0.0, f64::max)
        })
    }

    /// Mean brightness at a distance from the line.
    pub fn at(&self, place_px: f64) -> f64 {
        self.mean(place_px, self.bell_px)
    }

    fn mean(&self, place_px: f64, bell_px: f64) -> f64 {
        let (mut sum, mut weights) = (0.0, 0.0);
        for [across, value, _] in &self.pixels {
            let weight = bell((across - place_px) / bell_px);
            sum += weight * value;
            weights += weight;
        }
        if weights > 0.0 { sum / weights } else { 0.0 }
    }

    fn place_bell_px(&self) -> f64 {
        (PLACE_BELL * self.width_px).max(LEAST_BELL_PX)
    }

    /// The summit that is climbed to from the line, `None` where the climb leads out of the search.
    pub fn place_px(&self) -> Option<f64> {
        let place_bell_px = self.place_bell_px();
        let height = |place: f64| self.mean(place, place_bell_px);
        let search = self.search_px();
        let (mut place, mut step) = (0.0_f64, 0.25);
        let mut own = height(place);
        while step > 1e-4 {
            let [before, after] = [place - step, place + step].map(height);
            if before.max(after) <= own {
                step *= 0.5;
            } else if before > after {
                (place, own) = (place - step, before);
            } else {
                (place, own) = (place + step, after);
            }
            if place.abs() > search {
                return None;
            }
        }
        Some(place)
    }

    fn search_px(&self) -> f64 {
        (SEARCH_WIDTHS * self.width_px).max(2.0)
    }

    /// The crest near the line, and how it stands out.
    pub fn stand(&self) -> Stand {
        let search = self.search_px();
        let reach = search + TROUGH_WIDTHS * self.width_px;
        let count = (reach / STEP_PX).ceil() as i64;
        let places: Vec<f64> = (-count..=count).map(|k| k as f64 * STEP_PX).collect();
        let profile: Vec<f64> = places.iter().map(|p| self.at(*p)).collect();
        let crest = (1..places.len() - 1)
            .filter(|n| places[*n].abs() <= search)
            .filter(|n| profile[*n] >= profile[n - 1] && profile[*n] > profile[n + 1])
            .map(|n| {
                (
                    n,
                    rise(
                        &profile,
                        n,
                        (TROUGH_WIDTHS * self.width_px / STEP_PX) as usize,
                    ),
                )
            })
            .max_by(|a, b| a.1.total_cmp(&b.1));
        let middle_e = self.at(0.0);
        let Some((n, rise_e)) = crest else {
            return Stand {
                peak_e: middle_e,
                ..Stand::OFF_FRAME
            };
        };
        let at_px = self.place_px();
        let (noise_e, scatter_px) = self.scatter(places[n], at_px.unwrap_or(places[n]));
        Stand {
            at_px,
            peak_e: profile[n],
            rise_e,
            noise_e,
            scatter_px,
        }
    }

    /// Noise of the mean brightness at the crest, and scatter of the place: that of the slope there over how sharply the summit bends.
    fn scatter(&self, crest_px: f64, at_px: f64) -> (f64, f64) {
        let total = |place: f64, bell_px: f64| -> f64 {
            self.pixels
                .iter()
                .map(|p| bell((p[0] - place) / bell_px))
                .sum()
        };
        let (place_bell_px, h) = (self.place_bell_px(), 0.2);
        let own = total(crest_px, self.bell_px);
        let [before, after] = [at_px - h, at_px + h].map(|place| total(place, place_bell_px));
        let (mut noise, mut slope) = (0.0, 0.0);
        for [across, _, variance] in &self.pixels {
            let weight = bell((across - crest_px) / self.bell_px) / own;
            let [low, high] =
                [at_px - h, at_px + h].map(|place| bell((across - place) / place_bell_px));
            noise += weight * weight * variance;
            slope += ((high / after - low / before) / (2.0 * h)).powi(2) * variance;
        }
        let height = |place: f64| self.mean(place, place_bell_px);
        let bend = (height(at_px - h) - 2.0 * height(at_px) + height(at_px + h)) / (h * h);
        let scatter_px = if bend < 0.0 {
            slope.sqrt() / -bend
        } else {
            f64::INFINITY
        };
        (noise.sqrt(), scatter_px)
    }
}

fn bell(z: f64) -> f64 {
    libm::exp(-0.5 * z * z)
}

/// How far a crest rises over the higher of the troughs on its two sides.
fn rise(profile: &[f64], crest: usize, steps: usize) -> f64 {
    let lowest = |range: &[f64]| range.iter().copied().fold(f64::INFINITY, f64::min);
    let before = lowest(&profile[crest.saturating_sub(steps)..=crest]);
    let after = lowest(&profile[crest..(crest + steps + 1).min(profile.len())]);
    profile[crest] - before.max(after)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// A level picture with two bright bells across a line along x, each `apart` from `middle`, between 10 and 16 px from the star.
    fn picture(middle: f64, apart: f64, glow: f64) -> Array2<f64> {
        Array2::from_shape_fn((41, 41), |(row, column)| {
            let (y, x) = (row as f64 - 20.0, column as f64 - 20.0);
            let inside = (10.0..=16.0).contains(&x.abs());
            let bells = bell((y - middle - apart) / 0.9) + bell((y - middle + apart) / 0.9);
            100.0 + glow * bell(y / 9.0) + if inside { 200.0 * bells } else { 0.0 }
        })
    }

    fn line() -> SpikeLine {
        SpikeLine {
            regions: vec![0],
            along: [1.0, 0.0],
            across: [0.0, 1.0],
            reach_px: [10.0, 16.0],
            width_px: 0.9 * 2.355,
        }
    }

    fn stand(image: &Array2<f64>) -> Stand {
        Across::new(image, [20.0; 2], &line(), &|e| e)
            .expect("on the frame")
            .stand()
    }

    #[test]
    fn a_spike_that_moves_is_followed_and_one_that_splits_keeps_its_place() {
        for moved in [-1.3, -0.4, 0.0, 0.25, 1.7] {
            let found = stand(&picture(moved, 0.0, 0.0));
            assert_abs_diff_eq!(found.at_px.unwrap(), moved, epsilon = 0.03);
            let split = stand(&picture(moved, 0.7, 0.0));
            assert_abs_diff_eq!(split.at_px.unwrap(), moved, epsilon = 0.05);
        }
    }

    /// A smooth glow as bright as the spike is not a spike; 400 e over 100 e, blurred by a bell of 0.45 of its width, is four times its
    /// surroundings or a little less.
    #[test]
    fn a_glow_does_not_stand_out() {
        let glow = picture(0.0, 0.0, 400.0).mapv(|v| v) - picture(0.0, 0.0, 0.0) + 100.0;
        assert!(stand(&glow).contrast() < 0.25, "{:?}", stand(&glow));
        let spike = stand(&picture(0.0, 0.0, 0.0));
        assert!((2.5..4.0).contains(&spike.contrast()), "{spike:?}");
    }

    /// The scatter that is said is the one of a thousand noisy pictures.
    #[test]
    fn the_scatter_is_that_of_noisy_pictures() {
        use rand::SeedableRng;
        use rand_distr::{Distribution, Normal};
        let clean = picture(0.3, 0.0, 50.0);
        let said = stand(&clean).scatter_px;
        let mut draw = rand_chacha(7);
        let places: Vec<f64> = (0..1000)
            .map(|_| {
                let noisy =
                    clean.mapv(|e| e + Normal::new(0.0, e.sqrt()).unwrap().sample(&mut draw));
                let own = Across::new(&noisy, [20.0; 2], &line(), &|e| e.max(0.0));
                own.expect("on the frame").place_px().expect("a summit")
            })
            .collect();
        let mean = places.iter().sum::<f64>() / 1000.0;
        let found = (places.iter().map(|p| (p - mean).powi(2)).sum::<f64>() / 999.0).sqrt();
        // a thousand draws give the scatter to 2.2 %
        assert!(
            (found / said - 1.0).abs() < 0.1,
            "{found} px in pictures, {said} px said"
        );

        fn rand_chacha(seed: u64) -> impl rand::Rng {
            rand::rngs::ChaCha8Rng::seed_from_u64(seed)
        }
    }

    #[test]
    fn what_the_frame_does_not_hold_has_no_spike() {
        let mut far = line();
        far.reach_px = [18.0, 24.0];
        assert!(Across::new(&picture(0.0, 0.0, 0.0), [20.0; 2], &far, &|e| e).is_none());
    }
}
