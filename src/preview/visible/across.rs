//! A spike looked at across itself: the mean brightness along its first order, on both sides of the star, against the distance from its line.
//!
//! Pixels are weighted by a Gauss bell of the distance, 0.45 of the spike's width, as an eye that follows the spike along does. The crest is
//! where this mean is largest near the line; it stands out by its rise over the higher of the two troughs beside it (its prominence),
//! so that neither a neighbour nor the glow of the core passes for a spike.

use super::lines::SpikeLine;
use ndarray::Array2;

/// Width of the bell over the width of the spike.
const BELL: f64 = 0.45 / 2.355;
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
        let (mut sum, mut weights) = (0.0, 0.0);
        for [across, value, _] in &self.pixels {
            let weight = self.bell(across - place_px);
            sum += weight * value;
            weights += weight;
        }
        if weights > 0.0 { sum / weights } else { 0.0 }
    }

    fn bell(&self, from_px: f64) -> f64 {
        let z = from_px / self.bell_px;
        libm::exp(-0.5 * z * z)
    }

    /// The crest near the line, and how it stands out.
    pub fn stand(&self) -> Stand {
        let search = (SEARCH_WIDTHS * self.width_px).max(2.0);
        let reach = search + TROUGH_WIDTHS * self.width_px;
        let count = (reach / STEP_PX).ceil() as i64;
        let places: Vec<f64> = (-count..=count).map(|k| k as f64 * STEP_PX).collect();
        let profile: Vec<f64> = places.iter().map(|p| self.at(*p)).collect();
        let crest = (1..places.len() - 1)
            .filter(|n| places[*n].abs() <= search)
            .filter(|n| profile[*n] >= profile[n - 1] && profile[*n] > profile[n + 1])
            .map(|n| (n, rise(&profile, n, (TROUGH_WIDTHS * self.width_px / STEP_PX) as usize)))
            .max_by(|a, b| a.1.total_cmp(&b.1));
        let middle_e = self.at(0.0);
        let Some((n, rise_e)) = crest else {
            return Stand {
                peak_e: middle_e,
                ..Stand::OFF_FRAME
            };
        };
        // the top of a parabola through three points
        let [a, b, c] = [profile[n - 1], profile[n], profile[n + 1]];
        let bend = a - 2.0 * b + c;
        let off = if bend < 0.0 { 0.5 * (a - c) / bend } else { 0.0 };
        let at_px = places[n] + off * STEP_PX;
        let (noise_e, scatter_px) = self.scatter(at_px);
        Stand {
            at_px: Some(at_px),
            peak_e: b,
            rise_e,
            noise_e,
            scatter_px,
        }
    }

    /// Noise of the mean brightness, and scatter of the crest: that of the slope there over how sharply the crest bends.
    fn scatter(&self, at_px: f64) -> (f64, f64) {
        let h = 0.2;
        let total = |place: f64| -> f64 { self.pixels.iter().map(|p| self.bell(p[0] - place)).sum() };
        let [before, own, after] = [at_px - h, at_px, at_px + h].map(total);
        let (mut noise, mut slope) = (0.0, 0.0);
        for [across, _, variance] in &self.pixels {
            let weight = self.bell(across - at_px) / own;
            let change = self.bell(across - at_px - h) / after - self.bell(across - at_px + h) / before;
            noise += weight * weight * variance;
            slope += (change / (2.0 * h)).powi(2) * variance;
        }
        let bend = (self.at(at_px - h) - 2.0 * self.at(at_px) + self.at(at_px + h)) / (h * h);
        let scatter_px = if bend < 0.0 { slope.sqrt() / -bend } else { f64::INFINITY };
        (noise.sqrt(), scatter_px)
    }
}

/// How far a crest rises over the higher of the troughs on its two sides.
fn rise(profile: &[f64], crest: usize, steps: usize) -> f64 {
    let lowest = |range: &[f64]| range.iter().copied().fold(f64::INFINITY, f64::min);
    let before = lowest(&profile[crest.saturating_sub(steps)..=crest]);
    let after = lowest(&profile[crest..(crest + steps + 1).min(profile.len())]);
    profile[crest] - before.max(after)
}
