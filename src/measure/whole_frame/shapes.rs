//! Size, elongation and asymmetry of one star of a field, from the same pixels whatever its brightness.
//!
//! The half-flux radius is taken of the light within three such radii, about the centre of all that light; the moments of what
//! lies within two, about its own centre: bright stars, whose faint wings are seen farther out, do not look larger. The two
//! centres of a defocused star with coma are far enough apart to change its half-flux radius. Third moments add up
//! under blurs that are alike on both sides, so that seeing does not change them.

use super::super::settings::WholeFrameSettings;
use super::super::stars::{Source, spread};
use super::weighed::{Weighed, weigh};
use crate::math::robust::half_way;
use ndarray::Array2;
use serde::Serialize;

/// What is measured of one star.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct StarShape {
    /// Centre of its light.
    pub centre_px: [f64; 2],
    /// Its light above the background, in the frame's own unit.
    pub flux: f64,
    /// Diameter of the circle that holds half of its light.
    pub half_flux_diameter_px: f64,
    /// Standard deviation of the diameter, from photons and noise.
    pub half_flux_diameter_sigma_px: f64,
    /// Square root of the ratio of the second moments along and across, 1 for a round star.
    pub elongation: f64,
    /// Direction of its long side in the frame, −90 to 90 degrees.
    pub elongation_deg: f64,
    /// Mean of |r|²·(x, y) about the centre: points to where the tail of a comatic star is.
    pub asymmetry_px3: [f64; 2],
    /// Standard deviation of either component.
    pub asymmetry_sigma_px3: f64,
    /// Moments under a window about its own centre, for the corners; `None` where the window leaves the frame.
    #[serde(skip)]
    pub weighed: Option<Weighed>,
}

/// Rounds in which centre and half-flux radius settle, at most.
const ROUNDS: usize = 12;
/// A centre has settled when it moves by less than this, pixels, and the radius changes by less than this share of itself.
const AT_REST: f64 = 1e-3;
/// Half-flux radius that a star starts with, at least: a star in one pixel has some.
const LEAST_RADIUS_PX: f64 = 0.5;
/// A centre that moves farther than its half-flux radius and this in one round has gone to another star.
const FARTHEST_MOVE_PX: f64 = 2.0;
/// Pixels that a circle cuts belong to it in part: the pixels looked at reach this much farther.
const EDGE_PX: f64 = 1.0;

/// Noise of a pixel.
#[derive(Debug, Clone, Copy)]
pub(super) struct PixelNoise {
    /// Of the background.
    pub sigma: f64,
    /// Electrons per unit of light.
    pub gain_e: f64,
}

/// Measures one star; `None` where its circle leaves the frame or holds no light.
pub(super) fn measure(
    light: &Array2<f64>,
    source: &Source,
    noise: PixelNoise,
    settings: &WholeFrameSettings,
) -> Option<StarShape> {
    let radius_px = source.half_flux_radius_px.max(LEAST_RADIUS_PX);
    let light_radii = settings.light_radii;
    let start = (source.centre_px, radius_px);
    let inner = settled(light, start, settings.moment_radii, light_radii)?;
    let whole = settled(light, inner, light_radii, light_radii)?;
    moments(light, inner, whole.1, noise, settings)
}

/// Centre of the light within some half-flux radii of it, and the half-flux radius about that centre.
fn settled(
    light: &Array2<f64>,
    (mut centre_px, mut radius_px): ([f64; 2], f64),
    radii: f64,
    light_radii: f64,
) -> Option<([f64; 2], f64)> {
    for _ in 0..ROUNDS {
        let (centre, radius) = (centre_px, radius_px);
        let near = pixels(light, centre, light_radii * radius + EDGE_PX)?;
        radius_px = half_flux_radius(&near, centre, light_radii * radius)?;
        let reach = radii * radius_px;
        let (mut weight, mut sum) = (0.0, [0.0; 2]);
        for pixel in near.iter() {
            let share = pixel.light * inside(pixel.from(centre), reach);
            weight += share;
            sum = [0, 1].map(|axis| sum[axis] + share * pixel.place[axis]);
        }
        if weight <= 0.0 {
            return None;
        }
        centre_px = sum.map(|s| s / weight);
        let moved = (centre_px[0] - centre[0]).hypot(centre_px[1] - centre[1]);
        if moved > FARTHEST_MOVE_PX + radius_px {
            return None;
        }
        if moved < AT_REST && (radius_px - radius).abs() < AT_REST * radius {
            break;
        }
    }
    Some((centre_px, radius_px))
}

fn moments(
    light: &Array2<f64>,
    (centre_px, radius_px): ([f64; 2], f64),
    half_flux_radius_px: f64,
    noise: PixelNoise,
    settings: &WholeFrameSettings,
) -> Option<StarShape> {
    let reach = settings.moment_radii * radius_px;
    let light_reach = settings.light_radii * radius_px;
    let near = pixels(light, centre_px, light_reach + EDGE_PX)?;
    let (mut flux, mut flux_square) = (0.0, 0.0);
    let (mut weight, mut second, mut third, mut spread) = (0.0, [0.0; 3], [0.0; 2], 0.0);
    for pixel in &near {
        let [x, y] = pixel.from(centre_px);
        let square = x * x + y * y;
        let variance = noise.sigma.powi(2) + pixel.light.max(0.0) / noise.gain_e;
        let all = inside([x, y], light_reach);
        (flux, flux_square) = (flux + all * pixel.light, flux_square + all * variance);
        let part = inside([x, y], reach);
        let share = part * pixel.light;
        weight += share;
        second = [
            second[0] + share * x * x,
            second[1] + share * x * y,
            second[2] + share * y * y,
        ];
        third = [third[0] + share * square * x, third[1] + share * square * y];
        // half of |r|⁶: either component, taken over all directions; the centre is fitted, which takes off its mean part
        let mean_square = 2.0 * radius_px * radius_px;
        spread += part * variance * 0.5 * square * (square - mean_square).powi(2);
    }
    if flux <= 0.0 || weight <= 0.0 {
        return None;
    }
    let [xx, xy, yy] = second.map(|s| s / weight);
    let (half_gap, middle) = ((0.5 * (xx - yy)).hypot(xy), 0.5 * (xx + yy));
    let across = middle - half_gap;
    if across <= 0.0 {
        return None;
    }
    Some(StarShape {
        centre_px,
        flux,
        half_flux_diameter_px: 2.0 * half_flux_radius_px,
        // over √N photons of itself: 0.35 for a uniform disc, about twice that for a star with wings
        half_flux_diameter_sigma_px: 2.0
            * half_flux_radius_px
            * settings.diameter_sigma_factor
            * flux_square.sqrt()
            / flux,
        elongation: ((middle + half_gap) / across).sqrt(),
        elongation_deg: (0.5 * libm::atan2(2.0 * xy, xx - yy)) / crate::units::DEG,
        asymmetry_px3: third.map(|t| t / weight),
        asymmetry_sigma_px3: spread.sqrt() / weight,
        weighed: weigh(light, centre_px, 2.0 * half_flux_radius_px, noise),
    })
}

/// A pixel near a star.
struct StarPixel {
    place: [f64; 2],
    light: f64,
}

impl StarPixel {
    fn from(&self, centre: [f64; 2]) -> [f64; 2] {
        [self.place[0] - centre[0], self.place[1] - centre[1]]
    }
}

/// Pixels of the square about a place; `None` if it leaves the frame.
fn pixels(light: &Array2<f64>, centre: [f64; 2], reach: f64) -> Option<Vec<StarPixel>> {
    let (rows, columns) = light.dim();
    let low = centre.map(|c| (c - reach).floor());
    let high = centre.map(|c| (c + reach).ceil());
    let fits = low.iter().all(|l| *l >= 0.0)
        && high[0] <= (columns - 1) as f64
        && high[1] <= (rows - 1) as f64;
    if !fits {
        return None;
    }
    let range = |axis: usize| low[axis] as usize..=high[axis] as usize;
    let all = range(1).flat_map(|row| {
        range(0).map(move |column| StarPixel {
            place: [column as f64, row as f64],
            light: light[[row, column]],
        })
    });
    Some(all.collect())
}

/// Share of a pixel within a circle about the origin: linear over the pixel's width.
fn inside([x, y]: [f64; 2], radius: f64) -> f64 {
    (radius - x.hypot(y) + 0.5).clamp(0.0, 1.0)
}

/// Places a side over which a pixel's light is spread in small circles, so that radii of a pixel or two come out.
const PARTS: usize = 5;
/// In circles larger than this the light stands in the middle of its pixel, which costs less time and changes nothing.
const SPREAD_UP_TO_PX: f64 = 30.0;

/// Radius of half of the light within `reach`.
fn half_flux_radius(near: &[StarPixel], centre: [f64; 2], reach: f64) -> Option<f64> {
    let parts = if reach > SPREAD_UP_TO_PX { 1 } else { PARTS };
    let lit = near.iter().map(|pixel| (pixel.from(centre), pixel.light));
    let mut rays = spread(lit, parts);
    rays.retain(|(radius, _)| *radius <= reach);
    let total: f64 = rays.iter().map(|ray| ray.1).sum();
    half_way(rays, total).filter(|_| total > 0.0)
}
