//! How the place of a rendered spike is measured.
//!
//! A spike passes through the star's core, where all spikes add up, so its place is taken away from there: from the light
//! about its first orders on both sides, where light of one wavelength is brightest again. Every pixel between half and one
//! and a half times the first order's distance counts, tapered to nothing at both ends, and across the spike to nothing at
//! `half_width_m` from its place (squared cosines: no pixel hangs on an edge). The place is the centroid of that light along
//! the slots, sought again with the window on the place until it stays.
//!
//! No background is taken off: the frames have no sky, and beside a spike of a whole mask lies the next spike, not sky.
//!
//! The centroid of *all* light of a region is its mean ray, exactly. A window leaves out the faint wings that a bent wavefront
//! throws to one side, so it finds a little less than the mean slope: the narrower, the less. Spherical aberration, whose
//! slope changes most within a region, loses most.

use ndarray::Array2;
use std::f64::consts::FRAC_PI_2;

/// Where to look for a spike.
#[derive(Debug, Clone, Copy)]
pub struct Search {
    /// Frame pixels.
    pub star_px: [f64; 2],
    pub pixel_m: f64,
    /// Direction along the slots, frame axes.
    pub along: [f64; 2],
    /// Distance of the first order from the star: wavelength × focal length / slot pitch.
    pub first_order_m: f64,
    /// Where the window ends, to both sides of the spike.
    pub half_width_m: f64,
}

/// Place of a spike along its slots, from the star's place.
pub fn spike_place_m(frame: &Array2<f64>, search: &Search) -> f64 {
    const STAYS: f64 = 1e-4;
    let mut place_m = 0.0;
    for _ in 0..200 {
        let step_m = offset_of_light_m(frame, search, place_m);
        place_m += step_m;
        if step_m.abs() < STAYS * search.pixel_m {
            return place_m;
        }
    }
    panic!("no place found: the last was {place_m} m, {search:?}");
}

/// Centroid of the light in the window about `place_m`, from there.
fn offset_of_light_m(frame: &Array2<f64>, search: &Search, place_m: f64) -> f64 {
    let taper = |t: f64| {
        if t.abs() < 1.0 {
            (FRAC_PI_2 * t).cos().powi(2)
        } else {
            0.0
        }
    };
    let [ux, uy] = search.along;
    let (mut sum, mut light) = (0.0, 0.0);
    for ((row, column), value) in frame.indexed_iter() {
        let x = (column as f64 - search.star_px[0]) * search.pixel_m;
        let y = (row as f64 - search.star_px[1]) * search.pixel_m;
        let from_star = (x * uy - y * ux).abs() / search.first_order_m;
        let across = x * ux + y * uy - place_m;
        let weight = taper(2.0 * (from_star - 1.0)) * taper(across / search.half_width_m) * value;
        sum += weight * across;
        light += weight;
    }
    sum / light
}
