//! The edges of a doughnut, read off the picture without any model: outer edge, dark centre, thin side, shadows of vanes.
//!
//! An edge is where the light falls to a quarter of what the ring shows beside it. Along spokes from the middle of each edge a
//! radius is found to a fraction of a pixel; a smooth closed curve (harmonics up to the third) through the radii leaves out
//! spokes that a vane or a hot pixel spoils. Centres are centroids of the areas inside the curves. No wavefront here.

use super::harmonics::Harmonics;
use super::regions::{Regions, grown};
use super::settings::RingSettings;
use crate::axes::FramePx;
use ndarray::Array2;
use std::f64::consts::{PI, TAU};

/// What a doughnut looks like. Pixels and angles in frame axes, from the corner of the picture that was handed in.
#[derive(Debug, Clone, PartialEq)]
pub struct Ring {
    /// Centre of the area within the outer edge.
    pub outer_centre_px: FramePx,
    /// Radius of the circle of the same area.
    pub outer_radius_px: f64,
    /// Centre of the dark area; `None` where there is none.
    pub dark_centre_px: Option<FramePx>,
    /// Radius of the circle of the same area.
    pub inner_radius_px: Option<f64>,
    /// Thickness and mean light of the ring in each of [`SECTORS`] directions, the first to the right, counter-clockwise.
    pub sectors: Vec<Sector>,
    /// Narrow shadows across the ring.
    pub shadows: Vec<Shadow>,
    /// How far the outer edge is from a circle: amplitudes of cos 2θ and sin 2θ of its radius, pixels, θ in frame axes.
    pub oval_px: [f64; 2],
}

/// The ring in one direction from its middle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sector {
    /// Direction.
    pub azimuth_rad: f64,
    /// Outer edge minus inner edge.
    pub thickness_px: f64,
    /// Mean light across the ring, over the mean of all directions.
    pub brightness: f64,
}

/// A narrow dark strip across the ring.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shadow {
    /// Direction from the middle of the ring.
    pub azimuth_rad: f64,
    /// Share of the light that is missing there.
    pub depth: f64,
}

impl Ring {
    /// The same ring seen from another corner.
    pub fn moved(self, by_px: FramePx) -> Ring {
        Ring {
            outer_centre_px: self.outer_centre_px + by_px,
            dark_centre_px: self.dark_centre_px.map(|dark| dark + by_px),
            ..self
        }
    }

    /// Direction in which the ring is thinnest: where the first harmonic of its thickness is least.
    pub fn thin_side_rad(&self) -> f64 {
        let sum = |wave: fn(f64) -> f64| -> f64 {
            self.sectors
                .iter()
                .map(|s| s.thickness_px * wave(s.azimuth_rad))
                .sum()
        };
        libm::atan2(-sum(libm::sin), -sum(libm::cos)).rem_euclid(TAU)
    }

    /// Dark centre minus outer centre.
    pub fn dark_shift_px(&self) -> Option<FramePx> {
        Some(self.dark_centre_px? - self.outer_centre_px)
    }
}

/// Directions in which a ring is described.
pub const SECTORS: usize = 36;
/// Directions of the spokes along which edges and light are read, evenly all round: five to each of [`SECTORS`].
const SPOKES: usize = 180;
/// Variance that one round of [`smoothed`] adds along rows and along columns, in squared pixels: that of the weights 1, 2, 1 over 4.
const SMOOTHING_VARIANCE_PX2: f64 = 0.5;
/// The brightest pixels are one in this many of the picture: few enough to lie on the ring, and more than a few hot pixels.
const ONE_BRIGHT_IN: usize = 200;
/// A picture of fewer pixels than this shows no ring.
const LEAST_PICTURE_PX: usize = 100;
/// Times that an edge is read anew from the centre that it had before.
const RECENTRINGS: usize = 2;
/// Samples of the ring's light across its thickness.
const ACROSS: i32 = 24;

/// Reads the edges of the star in a picture whose sky is zero (element `[[row, column]]`, row 0 at the bottom); `None` where no ring
/// of at least [`RingSettings::outer_radius_px_at_least`] stands out.
///
/// # Accuracy
/// Against ray-traced edges: dark shift 0.2 px, outer radius 0.6 px; the inner radius comes out up to 1.3 px small
/// (`tests/measuring/rings.rs`).
pub fn ring(picture: &Array2<f64>, settings: &RingSettings) -> Option<Ring> {
    let mut found = settings
        .lit_shares
        .iter()
        .filter_map(|share| ring_lit(picture, *share, settings));
    let first = found.next()?;
    if first.dark_centre_px.is_some() {
        return Some(first);
    }
    Some(found.find(|r| r.dark_centre_px.is_some()).unwrap_or(first))
}

/// The edges where everything brighter than a share of the brightest counts as lit.
fn ring_lit(picture: &Array2<f64>, share: f64, settings: &RingSettings) -> Option<Ring> {
    let smooth = smoothed_for_its_size(picture, share, settings)?;
    let level = bright_level(&smooth, share)?;
    let lit_from = settings.in_ring_share * level;
    let (star, _) = star_middle(&smooth, lit_from)?;
    let outer = RingEdge::find(&smooth, star, level, Way::Inwards, settings)?;
    if outer.radius_px < settings.outer_radius_px_at_least {
        return None;
    }
    let dark = hole_middle(&smooth, &outer, lit_from, settings)
        .and_then(|centre| RingEdge::find(&smooth, centre, level, Way::Outwards, settings))
        .filter(|dark| dark.radius_px < settings.inner_over_outer_at_most * outer.radius_px);
    let light = Around::new(&smooth, &outer, dark.as_ref(), settings.band_margin_share);
    Some(Ring {
        outer_centre_px: FramePx::new(outer.centre_px),
        outer_radius_px: outer.radius_px,
        dark_centre_px: dark.as_ref().map(|d| FramePx::new(d.centre_px)),
        inner_radius_px: dark.as_ref().map(|d| d.radius_px),
        sectors: light.sectors(),
        shadows: light.shadows(settings),
        oval_px: outer.curve.pair(2),
    })
}

/// The picture smoothed by a small share of the star's radius: noise of single pixels goes, edges stay.
fn smoothed_for_its_size(
    picture: &Array2<f64>,
    share: f64,
    settings: &RingSettings,
) -> Option<Array2<f64>> {
    let mut smooth = smoothed(picture);
    let level = bright_level(&smooth, share)?;
    let (_, radius_px) = star_middle(&smooth, settings.in_ring_share * level)?;
    let variance_px2 = (settings.smoothing_share * radius_px).powi(2);
    let rounds = (variance_px2 / SMOOTHING_VARIANCE_PX2).round() as usize;
    for _ in 1..rounds.min(settings.smoothing_rounds_at_most) {
        smooth = smoothed(&smooth);
    }
    Some(smooth)
}

/// Every pixel with its eight neighbours, nearer ones weighing more.
fn smoothed(picture: &Array2<f64>) -> Array2<f64> {
    let (rows, columns) = picture.dim();
    let at = |row: isize, column: isize| {
        let row = row.clamp(0, rows as isize - 1) as usize;
        let column = column.clamp(0, columns as isize - 1) as usize;
        picture[[row, column]]
    };
    Array2::from_shape_fn((rows, columns), |(row, column)| {
        let (r, c) = (row as isize, column as isize);
        let mut sum = 0.0;
        for (down, a) in [(-1, 1.0), (0, 2.0), (1, 1.0)] {
            for (along, b) in [(-1, 1.0), (0, 2.0), (1, 1.0)] {
                sum += a * b * at(r + down, c + along);
            }
        }
        sum / 16.0
    })
}

/// The typical light of the ring: the median of what is brighter than a share of the brightest pixels.
fn bright_level(picture: &Array2<f64>, share: f64) -> Option<f64> {
    let mut values: Vec<f64> = picture.iter().copied().filter(|v| v.is_finite()).collect();
    if values.len() < LEAST_PICTURE_PX {
        return None;
    }
    values.sort_unstable_by(f64::total_cmp);
    let bright = values[values.len() - 1 - values.len() / ONE_BRIGHT_IN];
    let first = values.partition_point(|v| *v < bright * share);
    let lit = &values[first..];
    (bright > 0.0 && !lit.is_empty()).then(|| lit[lit.len() / 2])
}

/// Middle of the largest bright region, whatever is dark inside it, and the radius of a circle of its area.
fn star_middle(picture: &Array2<f64>, threshold: f64) -> Option<([f64; 2], f64)> {
    let bright = Regions::of(&picture.mapv(|v| v > threshold));
    let star = bright.pixels.iter().max_by_key(|region| region.len())?;
    Some((middle(star)?, (star.len() as f64 / PI).sqrt()))
}

/// Middle of the dark area inside the outer edge: what is left last when it is worn off from its border. A shadow that cuts
/// through the ring is narrow, and gone before.
fn hole_middle(
    picture: &Array2<f64>,
    outer: &RingEdge,
    threshold: f64,
    settings: &RingSettings,
) -> Option<[f64; 2]> {
    let margin_px = settings.dark_inside_edge_px;
    let mut dark = Array2::from_shape_fn(picture.dim(), |place| {
        picture[place] <= threshold && outer.holds([place.1 as f64, place.0 as f64], margin_px)
    });
    let mut last = None;
    for round in 0.. {
        let left: Vec<[usize; 2]> = dark
            .indexed_iter()
            .filter(|(_, is)| **is)
            .map(|((row, column), _)| [row, column])
            .collect();
        let Some(centre) = middle(&left) else {
            break;
        };
        if round >= settings.dark_rounds_at_least {
            last = Some(centre);
        }
        let bright = dark.mapv(|is| !is);
        dark = grown(&bright, 1).mapv(|is| !is);
    }
    last
}

fn middle(set: &[[usize; 2]]) -> Option<[f64; 2]> {
    let count = set.len() as f64;
    let sum = |axis: usize| set.iter().map(|place| place[axis] as f64).sum::<f64>();
    (!set.is_empty()).then(|| [sum(1) / count, sum(0) / count])
}

/// Which way along a spoke an edge is met first.
#[derive(Clone, Copy, PartialEq)]
enum Way {
    /// From far outside: the outer edge.
    Inwards,
    /// From the middle of the hole.
    Outwards,
}

/// A closed edge.
struct RingEdge {
    /// Where its spokes start.
    from_px: [f64; 2],
    /// Radius by direction from there.
    curve: Harmonics,
    centre_px: [f64; 2],
    radius_px: f64,
}

impl RingEdge {
    fn find(
        picture: &Array2<f64>,
        middle_px: [f64; 2],
        level: f64,
        way: Way,
        settings: &RingSettings,
    ) -> Option<RingEdge> {
        let mut edge = RingEdge::about(picture, middle_px, level, way, settings)?;
        for _ in 0..RECENTRINGS {
            edge = RingEdge::about(picture, edge.centre_px, level, way, settings)?;
        }
        Some(edge)
    }

    fn about(
        picture: &Array2<f64>,
        from_px: [f64; 2],
        level: f64,
        way: Way,
        settings: &RingSettings,
    ) -> Option<RingEdge> {
        let points: Vec<(f64, f64)> = (0..SPOKES)
            .map(|i| TAU * i as f64 / SPOKES as f64)
            .filter_map(|angle| {
                let spoke = Spoke::new(picture, from_px, angle, settings.spoke_step_px);
                Some((angle, spoke.edge_px(level, way, settings)?))
            })
            .collect();
        let curve = Harmonics::robust(
            &points,
            settings.edge_harmonics,
            settings.far_from_curve_sigma,
        )?;
        let (centre, area) = curve.centroid_and_area();
        Some(RingEdge {
            from_px,
            curve,
            centre_px: [from_px[0] + centre[0], from_px[1] + centre[1]],
            radius_px: (area / PI).sqrt(),
        })
    }

    /// Whether a point lies inside the edge, at least `margin_px` from it along its spoke.
    fn holds(&self, [x, y]: [f64; 2], margin_px: f64) -> bool {
        let (x, y) = (x - self.from_px[0], y - self.from_px[1]);
        x.hypot(y) < self.curve.value(libm::atan2(y, x)) - margin_px
    }

    /// Distance of the edge from a point within it, in a direction.
    fn distance_px(&self, point_px: [f64; 2], angle: f64) -> f64 {
        let (cos, sin) = (libm::cos(angle), libm::sin(angle));
        /// No edge that was read lies farther from a point within it than this many of its radii.
        const FARTHEST_RADII: f64 = 4.0;
        /// Halvings: the distance comes out to rounding.
        const HALVINGS: usize = 40;
        let (mut low, mut high) = (0.0, FARTHEST_RADII * self.radius_px);
        for _ in 0..HALVINGS {
            let middle = 0.5 * (low + high);
            let point = [point_px[0] + middle * cos, point_px[1] + middle * sin];
            if self.holds(point, 0.0) {
                low = middle;
            } else {
                high = middle;
            }
        }
        low
    }
}

/// Light along a line from a point.
struct Spoke {
    /// From the point outwards, as far as the picture reaches.
    values: Vec<f64>,
    /// Distance from one value to the next.
    step_px: f64,
}

impl Spoke {
    fn new(picture: &Array2<f64>, from_px: [f64; 2], angle: f64, step_px: f64) -> Self {
        let (cos, sin) = (libm::cos(angle), libm::sin(angle));
        let values = (0..)
            .map(|i| step_px * i as f64)
            .map_while(|r| between(picture, [from_px[0] + r * cos, from_px[1] + r * sin]))
            .collect();
        Spoke { values, step_px }
    }

    /// Where the light passes what it has at an edge, beside the ring on this spoke. The ring itself is met first, so that
    /// noise far from it is no edge.
    fn edge_px(&self, level: f64, way: Way, settings: &RingSettings) -> Option<f64> {
        let in_ring_share = settings.in_ring_share;
        let mut lit: Vec<f64> = self
            .values
            .iter()
            .copied()
            .filter(|v| *v > in_ring_share * level)
            .collect();
        if (lit.len() as f64) * self.step_px < settings.spoke_in_ring_px_at_least {
            return None;
        }
        lit.sort_unstable_by(f64::total_cmp);
        let typical = lit[lit.len() / 2];
        let edge = settings.edge_light_share * typical;
        let in_ring = |v: &f64| *v > in_ring_share * typical;
        let crossing = |i: usize| {
            let (a, b) = (self.values[i], self.values[i + 1]);
            self.step_px * (i as f64 + (edge - a) / (b - a))
        };
        match way {
            Way::Outwards => {
                let met = self.values.iter().position(in_ring)?;
                (0..met)
                    .rev()
                    .find(|i| self.values[*i] <= edge)
                    .map(crossing)
            }
            Way::Inwards => {
                let met = self.values.iter().rposition(in_ring)?;
                let outside = met + 1..self.values.len();
                let beyond = outside.into_iter().find(|i| self.values[*i] <= edge)?;
                Some(crossing(beyond - 1))
            }
        }
    }
}

/// The picture between its pixels; `None` outside.
fn between(picture: &Array2<f64>, [x, y]: [f64; 2]) -> Option<f64> {
    let (rows, columns) = picture.dim();
    let inside = x >= 0.0 && y >= 0.0 && x <= columns as f64 - 1.0 && y <= rows as f64 - 1.0;
    if !inside {
        return None;
    }
    let (c, r) = ((x as usize).min(columns - 2), (y as usize).min(rows - 2));
    let (u, v) = (x - c as f64, y - r as f64);
    let low = (1.0 - u) * picture[[r, c]] + u * picture[[r, c + 1]];
    let high = (1.0 - u) * picture[[r + 1, c]] + u * picture[[r + 1, c + 1]];
    Some((1.0 - v) * low + v * high)
}

/// The ring by direction from its middle.
struct Around {
    thickness_px: Vec<f64>,
    light: Vec<f64>,
}

impl Around {
    fn new(
        picture: &Array2<f64>,
        outer: &RingEdge,
        dark: Option<&RingEdge>,
        margin_share: f64,
    ) -> Self {
        let mut around = Around {
            thickness_px: Vec::new(),
            light: Vec::new(),
        };
        for i in 0..SPOKES {
            let angle = TAU * i as f64 / SPOKES as f64;
            let far = outer.distance_px(outer.centre_px, angle);
            let near = dark.map_or(0.0, |dark| dark.distance_px(outer.centre_px, angle));
            let light: f64 = (0..ACROSS)
                .map(|k| (f64::from(k) + 0.5) / f64::from(ACROSS))
                .map(|part| margin_share + (1.0 - 2.0 * margin_share) * part)
                .map(|part| near + (far - near) * part)
                .filter_map(|r| {
                    let x = outer.centre_px[0] + r * libm::cos(angle);
                    between(picture, [x, outer.centre_px[1] + r * libm::sin(angle)])
                })
                .sum();
            around.thickness_px.push(far - near);
            around.light.push(light / f64::from(ACROSS));
        }
        around
    }

    fn sectors(&self) -> Vec<Sector> {
        let each = SPOKES / SECTORS;
        let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
        let whole = mean(&self.light);
        (0..SECTORS)
            .map(|sector| {
                let around = |values: &[f64]| {
                    let near = (0..each).map(|k| (sector * each + k + SPOKES - each / 2) % SPOKES);
                    mean(&near.map(|i| values[i]).collect::<Vec<_>>())
                };
                Sector {
                    azimuth_rad: TAU * sector as f64 / SECTORS as f64,
                    thickness_px: around(&self.thickness_px),
                    brightness: around(&self.light) / whole,
                }
            })
            .collect()
    }

    /// Shadows: dips of the light round the ring below its smooth course, deeper than its usual ripple.
    fn shadows(&self, settings: &RingSettings) -> Vec<Shadow> {
        let angle = |i: usize| TAU * i as f64 / SPOKES as f64;
        let points: Vec<(f64, f64)> = self
            .light
            .iter()
            .enumerate()
            .map(|(i, v)| (angle(i), *v))
            .collect();
        let far_sigma = settings.far_from_curve_sigma;
        let course = Harmonics::robust(&points, settings.light_harmonics, far_sigma);
        let Some(course) = course else {
            return Vec::new();
        };
        let missing: Vec<f64> = points
            .iter()
            .map(|(angle, v)| 1.0 - v / course.value(*angle))
            .collect();
        let mut ripple: Vec<f64> = missing.iter().map(|m| m.abs()).collect();
        ripple.sort_unstable_by(f64::total_cmp);
        let limit = {
            let typical = ripple[ripple.len() / 2];
            (settings.shadow_over_ripple_factor * typical).max(settings.shadow_share_at_least)
        };
        let window = (settings.shadow_apart_rad / TAU * SPOKES as f64) as usize;
        (0..SPOKES)
            .filter(|&i| missing[i] > limit)
            .filter(|&i| {
                (1..=window).all(|k| {
                    let (before, after) = ((i + SPOKES - k) % SPOKES, (i + k) % SPOKES);
                    missing[i] > missing[before] && missing[i] >= missing[after]
                })
            })
            .map(|i| Shadow {
                azimuth_rad: angle(i),
                depth: missing[i],
            })
            .collect()
    }
}
