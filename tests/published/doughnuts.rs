//! The doughnut as rendered, far from focus, where its shadow edges are sharp: radii, hole, brightness. And the comatic spot.
//!
//! These values are ray optics; the wavelength is ours to choose. At 50 nm fringes are narrow, and a row of pixels through the
//! middle, at a sampling made a little coarser than usual to save time, gives edges to a few tenths of a per cent of the doughnut's radius. The rays' own answer stands beside each.

use super::coma::comatic;
use crate::support::bench::{APERTURE_M, Bench};
use crate::support::checks::{agrees, input, list, number};
use crate::support::doughnut::{Cut, cut};
use skewstar::simulate::doughnut;
use skewstar::units::{DEG, UM};

pub const USED: &[&str] = &[
    "coma.hole_offset",
    "coma.hole_offset_limit",
    "coma.ring_brightness_ratio",
    "decentre.hole_offset",
    "coma.lengths",
    "coma.wedge_angle_deg",
    "defocus.doughnut_radii",
];

/// Waves of defocus: the finer the fringes, the sharper the edges.
const WAVES: f64 = 100.0;
/// Allowed for the place of an edge, over the doughnut's outer radius.
const EDGE: f64 = 1.2e-3;

/// A row through the doughnut, with pixels of 1/300 of its radius.
fn cut_of(star: &Bench, w020_m: f64, ratio: f64) -> Cut {
    let rim_m = rim_m(star, w020_m);
    cut(
        &star.clone().finer(0.7),
        rim_m / 300.0,
        rim_m,
        ratio * rim_m,
    )
}

fn rim_m(star: &Bench, w020_m: f64) -> f64 {
    4.0 * star.focal_ratio() * w020_m.abs()
}

/// Centre of the hole minus centre of the outer edge by the engine's own truth.
fn traced_offset_m(star: &Bench) -> f64 {
    let edges = doughnut(
        &star.instrument,
        &star.state,
        &star.wavefront(),
        star.wavelength_m(),
    )
    .expect("a doughnut");
    edges.dark.expect("a hole").0[0] - edges.outer_centre_m[0]
}

/// The rays' offset is that of the areas' centres, the row's that of the points on the axis: the latter is the limit far from
/// focus at any distance. Polygons of 720 corners are allowed 2e-5.
#[test]
fn coma_moves_the_hole_the_same_way_on_both_sides_of_focus() {
    let (id, limit) = ("coma.hole_offset", "coma.hole_offset_limit");
    let [focal_ratio, coma_m, ratio] = ["N", "W131_m", "eps"].map(|key| input(id, key).number());
    for (i, w020_m) in input(id, "W020_m").list().into_iter().enumerate() {
        let star = comatic(focal_ratio, ratio, w020_m.abs() / WAVES, coma_m, w020_m);
        let value = list(id)[i];
        let name = format!("W020 {w020_m:e}");
        let traced = traced_offset_m(&star);
        agrees(id, &format!("{name} rays"), value, traced, 2e-5 * value);
        let seen = cut_of(&star, w020_m, ratio);
        let found = seen.hole_centre_m() - seen.rim_centre_m();
        let allowed = EDGE * rim_m(&star, w020_m);
        agrees(
            limit,
            &format!("{name} rendered"),
            number(limit),
            found,
            allowed,
        );

        let id = "coma.ring_brightness_ratio";
        let value = list(id)[i];
        // pupil point (−1, 0) lands on the right when the sensor is beyond focus
        let [left, right] = seen.level;
        let found = if w020_m > 0.0 {
            right / left
        } else {
            left / right
        };
        agrees(id, &format!("{name} rendered"), value, found, 0.02 * value);
        let [near, far] = [-1.0, 1.0].map(|side| spread_of_rays(&star, side));
        agrees(id, &format!("{name} rays"), value, far / near, 1e-5 * value);
    }
}

/// Area that a small patch of the pupil at (side, 0) covers on the sensor.
fn spread_of_rays(star: &Bench, side: f64) -> f64 {
    let wavefront = star.wavefront();
    let radius = 0.5 * APERTURE_M;
    let step = 1e-4 * radius;
    let ray = |dx: f64, dy: f64| wavefront.ray_m([side * radius + dx, dy]);
    let along_x = ray(step, 0.0)[0] - ray(-step, 0.0)[0];
    let along_y = ray(0.0, step)[1] - ray(0.0, -step)[1];
    (along_x * along_y).abs()
}

#[test]
fn a_decentred_obstruction_moves_the_hole_the_other_way_beyond_focus() {
    let id = "decentre.hole_offset";
    let [focal_ratio, ratio, d] = ["N", "eps", "d"].map(|key| input(id, key).number());
    for (w020_m, value) in input(id, "W020_m").list().into_iter().zip(list(id)) {
        let star = Bench::annular(focal_ratio, w020_m.abs() / WAVES, ratio)
            .defocused(w020_m)
            .obstruction_at([d * 0.5 * APERTURE_M, 0.0]);
        let name = format!("W020 {w020_m:e}");
        agrees(
            id,
            &format!("{name} rays"),
            value,
            traced_offset_m(&star),
            0.0,
        );
        let seen = cut_of(&star, w020_m, ratio);
        let found = seen.hole_centre_m() - seen.rim_centre_m();
        agrees(
            id,
            &format!("{name} rendered"),
            value,
            found,
            EDGE * rim_m(&star, w020_m),
        );
        assert_eq!(found.signum(), -w020_m.signum());
    }
}

#[test]
fn radii_of_a_doughnut() {
    let id = "defocus.doughnut_radii";
    let [focal_ratio, ratio, dz_m] = ["N", "eps", "dz_m"].map(|key| input(id, key).number());
    let w020_m = dz_m / (8.0 * focal_ratio * focal_ratio);
    let star = Bench::annular(focal_ratio, w020_m / WAVES, ratio).defocused(w020_m);
    let seen = cut_of(&star, w020_m, ratio);
    let half = |edges: [f64; 2]| 0.5 * (edges[1] - edges[0]);
    let allowed = EDGE * rim_m(&star, w020_m);
    agrees(id, "rim, rendered", list(id)[0], half(seen.rim_m), allowed);
    agrees(
        id,
        "hole, rendered",
        list(id)[1],
        half(seen.hole_m),
        2.0 * allowed,
    );
}

#[test]
fn edges_sharpen_as_fringes_narrow() {
    let id = "coma.hole_offset_limit";
    let [focal_ratio, coma_m, ratio] = ["N", "W131_m", "eps"].map(|key| input(id, key).number());
    let w020_m = input("coma.hole_offset", "W020_m").list()[0];
    let off = |waves: f64| {
        let seen = cut_of(
            &comatic(focal_ratio, ratio, w020_m / waves, coma_m, w020_m),
            w020_m,
            ratio,
        );
        seen.hole_centre_m() - seen.rim_centre_m() - number(id)
    };
    let (few, many) = (off(25.0), off(100.0));
    println!("hole offset: off by {few:.1e} m at 25 waves, {many:.1e} m at 100");
    assert!(many.abs() < 0.3 * few.abs());
}

/// A focused star with 60 waves of coma. The spot ends where the light of a whole column (or row) of pixels falls to a quarter
/// of what it is a little further in (5 %: the edge is 3 µm wide at the tail). Its wedge ends where a column has half of its
/// outermost maximum, the bright line that the rays of all zones touch (1 degree).
#[test]
fn the_comatic_spot() {
    let id = "coma.lengths";
    let [focal_ratio, coma_m] = ["N", "W131_m"].map(|key| input(id, key).number());
    let star = comatic(focal_ratio, 0.0, coma_m / 60.0, coma_m, 0.0);
    let (pixel_m, middle_m) = (0.1e-6, -12.0e-6);
    let light = star.frame([middle_m, 0.0], pixel_m, [300, 200]);
    let left = |column: f64| -(middle_m + (column - 149.5) * pixel_m);
    let up = |row: f64| (row - 99.5) * pixel_m;

    let mut along: Vec<f64> = (0..300).map(|c| light.column(c).sum()).collect();
    along.reverse(); // away from the star
    let mut across: Vec<f64> = (0..200).map(|r| light.row(r).sum()).collect();
    across.drain(..100);
    let [tangential, sagittal] = [list(id)[0], list(id)[1]];
    let end = falls_to_a_quarter(&along, ((0.83 * tangential + 3e-6) / pixel_m) as usize);
    agrees(
        id,
        "tangential, rendered",
        tangential,
        left(299.0 - end),
        0.05 * tangential,
    );
    let end = falls_to_a_quarter(&across, (0.83 * sagittal / pixel_m) as usize);
    agrees(
        id,
        "sagittal, rendered",
        sagittal,
        up(100.0 + end),
        0.05 * sagittal,
    );

    let id = "coma.wedge_angle_deg";
    for column in [190usize, 205, 220, 235] {
        let half: Vec<f64> = (100..200).map(|row| light[[row, column]]).collect();
        let noise = 0.05 * half.iter().fold(0.0f64, |top, v| top.max(*v));
        let last = (1..99)
            .rfind(|&i| half[i] > noise && half[i] >= half[i - 1] && half[i] >= half[i + 1])
            .unwrap();
        let beyond = (last..99).find(|&i| half[i] < 0.5 * half[last]).unwrap();
        let share = (half[beyond - 1] - 0.5 * half[last]) / (half[beyond - 1] - half[beyond]);
        let y = up(100.0 + (beyond - 1) as f64 + share);
        let found = 2.0 * (y / left(column as f64)).atan() / DEG;
        let name = format!("rendered, {:.1} um out", left(column as f64) / UM);
        agrees(id, &name, number(id), found, 1.0);
    }
}

/// Where the samples fall to a quarter of the mean of those around `inside`.
fn falls_to_a_quarter(samples: &[f64], inside: usize) -> f64 {
    let level = samples[inside - 8..=inside + 8].iter().sum::<f64>() / 17.0;
    let below = (inside..samples.len())
        .find(|&i| samples[i] < 0.25 * level)
        .unwrap();
    let share = (samples[below - 1] - 0.25 * level) / (samples[below - 1] - samples[below]);
    (below - 1) as f64 + share
}
