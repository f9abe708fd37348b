//! Where the edges of a doughnut and the spikes of a masked star lie, by tracing rays. No diffraction here: this is the truth
//! that a measurement of edges and spikes is compared with.

use super::textbook::airy_radius_m;
use crate::axes::{FieldM, FrameM};
use crate::geometry::{Trapezoid, trapezoids};
use crate::instrument::{Instrument, ObstructionShape, Telescope};
use crate::mask;
use crate::pupil::{Pupil, frame_axes, frame_direction, obstruction_centre_m, vignette};
use crate::state::State;
use crate::units::DEG;
use crate::wavefront::Wavefront;
use std::f64::consts::{PI, TAU};

/// Outer edge and dark centre of a defocused star, from the star's place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Doughnut {
    /// Centre of the area inside the outer edge.
    pub outer_centre_m: FrameM,
    /// Radius of the circle with the same area.
    pub outer_radius_m: f64,
    /// The same for the dark centre; `None` without an obstruction.
    pub dark: Option<(FrameM, f64)>,
}

/// One region's spike.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spike {
    /// Number of the region.
    pub region: usize,
    /// Azimuth of the region's middle, pupil axes.
    pub azimuth_rad: f64,
    /// Direction along its slots, pupil axes.
    pub slot_rad: f64,
    /// Place of the region's mean ray from the star's place, along the +slot direction turned into frame axes, metres.
    pub shift_m: f64,
}

/// Points in which an edge is traced: its area comes out to about 1e-5 (a polygon of n sides inside a circle lacks 2π²/(3n²) of it).
const EDGE_POINTS: usize = 720;

/// The doughnut's edges by rays (derived here: each edge is the image of an edge of the pupil). `None` inside the caustic, where rays
/// cross and no edge of the pupil is an edge of the light, and where the outer radius is less than the Airy disc's.
pub fn doughnut(
    instrument: &Instrument,
    state: &State,
    wavefront: &Wavefront,
    wavelength_m: f64,
) -> Option<Doughnut> {
    let telescope = &instrument.telescope;
    if rays_cross(instrument, state, wavefront) {
        return None;
    }
    let opening = outline(telescope, state.field_m);
    let outer = trace(instrument, wavefront, &opening);
    let (outer_centre_m, outer_radius_m) = centroid(&outer);
    if outer_radius_m < airy_radius_m(wavelength_m, telescope.focal_ratio()) {
        return None;
    }
    let dark = telescope.obstruction.as_ref().map(|obstruction| {
        let centre = obstruction_centre_m(telescope, obstruction, state.field_m);
        let half = 0.5 * obstruction.diameter_m;
        let edge = trace(instrument, wavefront, &|t| {
            let (x, y) = (libm::cos(t), libm::sin(t));
            let reach = match obstruction.shape {
                ObstructionShape::Round => half,
                ObstructionShape::Square => half / x.abs().max(y.abs()),
            };
            [centre[0] + reach * x, centre[1] + reach * y]
        });
        centroid(&edge)
    });
    Some(Doughnut {
        outer_centre_m,
        outer_radius_m,
        dark,
    })
}

/// Edge of the open area of the aperture by angle: a circle, or the lens that a second opening leaves of it.
fn outline(telescope: &Telescope, field_m: FieldM) -> impl Fn(f64) -> [f64; 2] {
    let radius = telescope.aperture_radius_m();
    let second = vignette(telescope, field_m);
    // radii are counted from the middle of the lens that both circles have in common
    let middle = second.map_or([0.0; 2], |(centre, other)| {
        let apart = centre[0].hypot(centre[1]);
        let (first, last) = ((apart - other).max(-radius), (apart + other).min(radius));
        let share = if apart > 0.0 {
            0.5 * (first + last) / apart
        } else {
            0.0
        };
        centre.map(|c| c * share)
    });
    move |angle| {
        let ahead = [libm::cos(angle), libm::sin(angle)];
        let reach = |centre: [f64; 2], radius: f64| {
            let from = [middle[0] - centre[0], middle[1] - centre[1]];
            let along = from[0] * ahead[0] + from[1] * ahead[1];
            let inside = radius * radius - from[0] * from[0] - from[1] * from[1];
            -along + (along * along + inside).max(0.0).sqrt()
        };
        let own = reach([0.0; 2], radius);
        let edge = second.map_or(own, |(centre, other)| own.min(reach(centre, other)));
        [middle[0] + edge * ahead[0], middle[1] + edge * ahead[1]]
    }
}

/// The spike of every region of the worn mask: the mean ray of the region's open part, along its slots.
///
/// # Accuracy
/// 1 nm on the sensor against a count of hand-written slopes over many points, which is what limits the comparison
/// (`tests/masked/spikes.rs`).
pub fn spikes(instrument: &Instrument, state: &State, wavefront: &Wavefront) -> Vec<Spike> {
    let Some(design) = instrument.mask.as_ref().filter(|_| state.mask_on) else {
        return Vec::new();
    };
    let pupil = Pupil::new(instrument, state);
    mask::regions(design)
        .iter()
        .enumerate()
        .filter_map(|(number, region)| {
            let slot_rad = region.slot_rad + design.rotation_rad;
            let along = frame_direction(instrument, slot_rad);
            let ray = mean_ray_of_region_m(&pupil, number, instrument, wavefront)?;
            Some(Spike {
                region: number,
                azimuth_rad: (region.middle_rad() + design.rotation_rad).rem_euclid(TAU),
                slot_rad,
                shift_m: ray[0] * along[0] + ray[1] * along[1],
            })
        })
        .collect()
}

/// Where the rays through the open part of one region of the mask land on the average, from the star's place; `None` when nothing of it is open.
pub fn mean_ray_of_region_m(
    pupil: &Pupil,
    region: usize,
    instrument: &Instrument,
    wavefront: &Wavefront,
) -> Option<FrameM> {
    let slots: Vec<Trapezoid> = pupil
        .pieces_of_region(region)
        .flat_map(trapezoids)
        .collect();
    mean_ray_m(&slots, instrument, wavefront)
}

/// Gauss's rule with four points on −½ … ½: places and weights.
const GAUSS: [(f64, f64); 4] = [
    (-0.430_568_155_797_026_3, 0.173_927_422_568_726_93),
    (-0.169_990_521_792_428_13, 0.326_072_577_431_273_07),
    (0.169_990_521_792_428_13, 0.326_072_577_431_273_07),
    (0.430_568_155_797_026_3, 0.173_927_422_568_726_93),
];

/// Mean place of the rays through some openings (pupil heights, frame axes); `None` when they have no area.
fn mean_ray_m(
    openings: &[Trapezoid],
    instrument: &Instrument,
    wavefront: &Wavefront,
) -> Option<FrameM> {
    let map = Wavefront::radial_map(&instrument.telescope);
    let (mut sum, mut area) = ([0.0; 2], 0.0);
    for opening in openings {
        let height = opening.high - opening.low;
        for (up, row_weight) in GAUSS {
            let y = opening.low + (0.5 + up) * height;
            let (left, right) = (opening.left.x(y), opening.right.x(y));
            for (along, weight) in GAUSS {
                let x = left + (0.5 + along) * (right - left);
                let share = row_weight * weight * height * (right - left);
                let ray = wavefront.ray_m(map.forward([x, y]));
                sum[0] += share * ray[0];
                sum[1] += share * ray[1];
                area += share;
            }
        }
    }
    (area > 0.0).then(|| FrameM::new(sum.map(|s| s / area)))
}

/// Pupil point (metres, pupil axes) → sine-space height in frame axes.
fn to_sine_space(instrument: &Instrument, pupil_m: [f64; 2]) -> [f64; 2] {
    frame_axes(instrument).forward(Wavefront::radial_map(&instrument.telescope).forward(pupil_m))
}

/// Rays from a closed curve in the pupil.
fn trace(
    instrument: &Instrument,
    wavefront: &Wavefront,
    curve: &dyn Fn(f64) -> [f64; 2],
) -> Vec<[f64; 2]> {
    (0..EDGE_POINTS)
        .map(|i| curve((i as f64 + 0.5) * TAU / EDGE_POINTS as f64))
        .map(|p| wavefront.ray_m(to_sine_space(instrument, p)))
        .collect()
}

/// Centroid of the area inside a closed polygon, and the radius of the circle of the same area.
fn centroid(outline: &[[f64; 2]]) -> (FrameM, f64) {
    let origin = outline[0];
    let (mut area, mut x, mut y) = (0.0, 0.0, 0.0);
    for (i, p) in outline.iter().enumerate() {
        let q = outline[(i + 1) % outline.len()];
        let (a, b) = (
            [p[0] - origin[0], p[1] - origin[1]],
            [q[0] - origin[0], q[1] - origin[1]],
        );
        let cross = a[0] * b[1] - a[1] * b[0];
        area += 0.5 * cross;
        x += cross * (a[0] + b[0]) / 6.0;
        y += cross * (a[1] + b[1]) / 6.0;
    }
    (
        FrameM::new([origin[0] + x / area, origin[1] + y / area]),
        (area.abs() / PI).sqrt(),
    )
}

/// Whether the map from pupil to sensor folds over, or stands still, anywhere in the open ring.
fn rays_cross(instrument: &Instrument, state: &State, wavefront: &Wavefront) -> bool {
    let telescope = &instrument.telescope;
    let radius = telescope.aperture_radius_m();
    let inner = telescope.obstruction.as_ref().map_or(0.0, |o| {
        let centre = obstruction_centre_m(telescope, o, state.field_m);
        (0.5 * o.diameter_m - centre[0].hypot(centre[1])).max(0.0)
    });
    let step = 1e-4 * radius;
    let mut sign = 0.0; // of the map's Jacobian, everywhere the same where no rays cross; a mirrored frame turns all of them over
    for ring in 0..=10 {
        for spoke in 0..72 {
            let r = inner + (radius - inner) * f64::from(ring) / 10.0;
            let t = f64::from(spoke) * 5.0 * DEG;
            let place = [r * libm::cos(t), r * libm::sin(t)];
            let ray = |dx: f64, dy: f64| {
                wavefront.ray_m(to_sine_space(instrument, [place[0] + dx, place[1] + dy]))
            };
            let difference = |a: [f64; 2], b: [f64; 2]| [a[0] - b[0], a[1] - b[1]];
            let along_x = difference(ray(step, 0.0), ray(-step, 0.0));
            let along_y = difference(ray(0.0, step), ray(0.0, -step));
            let determinant = along_x[0] * along_y[1] - along_x[1] * along_y[0];
            if determinant == 0.0 || determinant * sign < 0.0 {
                return true;
            }
            sign = determinant.signum();
        }
    }
    false
}
