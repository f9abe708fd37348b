//! Tilt of the focal plane from the sizes of stars: size² = seeing² + (what coma adds)² + (blur)², the blur in proportion to the
//! sensor's distance from focus, which is a plane over the sensor plus the telescope's known field curvature. What the squares
//! leave out is worked out by rays (`rays.rs`) and added.
//!
//! Size does not know the side of focus. Turning the whole plane over gives the same sizes, unless the field is curved, a second
//! frame at another focus is there, or the owner says where the sensor stands. If none of these tells, the sign stays open and
//! that is said; the line along which the plane tilts is known all the same.

use super::super::settings::WholeFrameSettings;
use super::descent::{Fit, descend};
use crate::axes::FieldM;
use crate::math::robust::sigma_of;

/// One star for the plane.
#[derive(Debug, Clone, Copy)]
pub(super) struct SizedStar {
    /// Place on the sensor from its centre, pupil axes.
    pub field_m: FieldM,
    /// Half-flux diameter.
    pub diameter_m: f64,
    /// Its standard deviation.
    pub sigma_m: f64,
    /// What coma and astigmatism add to the square of the diameter.
    pub extra_m2: f64,
    /// Diameter by rays less diameter by the law of squares.
    pub beyond_squares_m: f64,
    /// What field curvature adds to the sensor offset at the star's place.
    pub curved_m: f64,
    /// How much farther out the sensor stood in this star's frame.
    pub step_m: f64,
}

/// What else is known of the sensor's place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Known {
    /// Sensor offset in the middle and its standard deviation.
    pub offset_m: Option<[f64; 2]>,
    /// The side of focus, where the owner says it: +1 outside, −1 inside.
    pub side: Option<f64>,
    /// Square of the diameter of a star in focus that seeing, pixels and diffraction usually make, and its standard deviation.
    pub least_m2: [f64; 2],
    /// Half-flux diameter per metre of defocus.
    pub blur_per_m: f64,
    /// Half the diagonal of the sensor.
    pub half_m: f64,
    /// What the law of squares is off by in one diameter, as a share of it.
    pub diameter_law_share: f64,
}

/// The plane.
#[derive(Debug, Clone)]
pub(super) struct PlaneFit {
    /// Sensor offset in the middle, slopes along x and y (pupil axes), square of the least diameter, factor of what aberrations add.
    pub fit: Fit,
    /// Whether the plane's mirror image, on the other side of focus, fits nearly as well.
    pub sign_open: bool,
    /// Standard deviation of the residuals over what was expected.
    pub scale: f64,
    /// Stars that took part.
    pub used: usize,
}

/// Rounds of leaving out stars that lie far from the law, at most.
const ROUNDS: usize = 3;
/// Descents start from planes that take this share of the widest star's defocus from the middle of the frame to its corner, each in
/// eight directions: a flat one and a steep one, so that no side of focus is missed.
const STARTING_SLOPES: [f64; 2] = [0.1, 0.6];
/// Directions of the starting planes.
const STARTING_DIRECTIONS: i32 = 8;

/// Fits the plane; `None` with too few stars.
pub(super) fn fit(
    stars: &[SizedStar],
    known: Known,
    settings: &WholeFrameSettings,
) -> Option<PlaneFit> {
    let mut kept = stars.to_vec();
    let mut found = both_sides(&kept, known, settings.stars_at_least)?;
    for _ in 0..ROUNDS {
        let scale = robust_scale(&kept, &found.0.values, known);
        let limit = settings.outlier_sigma * scale;
        let close: Vec<SizedStar> = kept
            .iter()
            .copied()
            .filter(|star| residual(star, &found.0.values, known).abs() <= limit)
            .collect();
        if close.len() == kept.len() {
            break;
        }
        kept = close;
        found = both_sides(&kept, known, settings.stars_at_least)?;
    }
    let (best, other) = found;
    let unknowns = best.values.len();
    let degrees = kept.len().saturating_sub(unknowns).max(1) as f64;
    let scale = (best.chi_square / degrees).sqrt().max(1.0);
    let worse = (other.chi_square - best.chi_square) / (scale * scale);
    Some(PlaneFit {
        fit: best,
        sign_open: worse < settings.other_side_chi_square,
        scale,
        used: kept.len(),
    })
}

/// The best fit, and the best of those that lie nearer to its mirror image on the other side of focus; `None` with too few stars.
fn both_sides(stars: &[SizedStar], known: Known, stars_at_least: usize) -> Option<(Fit, Fit)> {
    if stars.len() < stars_at_least {
        return None;
    }
    let fits = starts(stars, known);
    let least = |a: &&Fit, b: &&Fit| a.chi_square.total_cmp(&b.chi_square);
    let on_told_side = |fit: &&Fit| known.side.is_none_or(|side| side * fit.values[0] >= 0.0);
    let told = fits.iter().filter(on_told_side).min_by(least);
    let best = told.or_else(|| fits.iter().min_by(least))?.clone();
    let mirrored: Vec<f64> = vec![
        -best.values[0],
        -best.values[1],
        -best.values[2],
        best.values[3],
        best.values[4],
    ];
    let turned = descend(&mirrored, &scales(stars, known), &|p| {
        residuals(stars, p, known)
    });
    let scale = scales(stars, known);
    let apart = |a: &[f64], b: &[f64]| {
        (0..3)
            .map(|k| ((a[k] - b[k]) / scale[k]).powi(2))
            .sum::<f64>()
    };
    let other = fits
        .into_iter()
        .chain([turned])
        .filter(|fit| apart(&fit.values, &mirrored) < apart(&fit.values, &best.values))
        .min_by(|a, b| a.chi_square.total_cmp(&b.chi_square));
    let none = Fit {
        chi_square: f64::INFINITY,
        ..best.clone()
    };
    Some((best, other.unwrap_or(none)))
}

fn starts(stars: &[SizedStar], known: Known) -> Vec<Fit> {
    let scale = scales(stars, known);
    let least = stars
        .iter()
        .map(|s| s.diameter_m)
        .fold(f64::INFINITY, f64::min);
    let most = scale[0];
    let mut fits = Vec::new();
    for azimuth in 0..STARTING_DIRECTIONS {
        let angle = std::f64::consts::TAU * f64::from(azimuth) / f64::from(STARTING_DIRECTIONS);
        for share in STARTING_SLOPES {
            for middle in [-1.0, 0.0, 1.0] {
                let slope = share * most / known.half_m;
                let start = [
                    middle * (1.0 - 0.5 * share) * most,
                    slope * libm::cos(angle),
                    slope * libm::sin(angle),
                    0.5 * least * least,
                    1.0,
                ];
                fits.push(descend(&start, &scale, &|p| residuals(stars, p, known)));
            }
        }
    }
    fits
}

/// Sizes of the unknowns: the defocus of the widest star, that over the sensor, the square of the smallest star.
fn scales(stars: &[SizedStar], known: Known) -> Vec<f64> {
    let (low, high) = stars
        .iter()
        .fold((f64::INFINITY, 0.0f64), |(low, high), s| {
            (low.min(s.diameter_m), high.max(s.diameter_m))
        });
    let defocus = high / known.blur_per_m;
    vec![
        defocus,
        defocus / known.half_m,
        defocus / known.half_m,
        low * low,
        1.0,
    ]
}

/// Sensor offset at a star.
pub(super) fn offset_m(values: &[f64], field_m: FieldM, curved_m: f64, step_m: f64) -> f64 {
    values[0] + values[1] * field_m[0] + values[2] * field_m[1] + curved_m + step_m
}

/// Diameter of a star by the law of squares.
pub(super) fn by_squares_m(star: &SizedStar, values: &[f64], known: Known) -> f64 {
    let blur_m = known.blur_per_m * offset_m(values, star.field_m, star.curved_m, star.step_m);
    (values[3].abs() + (values[4] * star.extra_m2).max(0.0) + blur_m * blur_m).sqrt()
}

fn residual(star: &SizedStar, values: &[f64], known: Known) -> f64 {
    let expected_m = by_squares_m(star, values, known) + star.beyond_squares_m;
    let sigma = star
        .sigma_m
        .hypot(known.diameter_law_share * star.diameter_m);
    (star.diameter_m - expected_m) / sigma
}

fn residuals(stars: &[SizedStar], values: &[f64], known: Known) -> Vec<f64> {
    // two expectations beside the stars: the size in focus is the usual one, which wide doughnuts do not tell; and the factor of what
    // aberrations add is 1 with a standard deviation of 1, because the half-flux circle of a wide doughnut holds less of coma's tail
    // than that of a focused star
    let [least, sigma] = known.least_m2;
    let in_focus = (values[3].abs() - least) / sigma;
    let prior = known
        .offset_m
        .map(|[offset, sigma]| (values[0] - offset) / sigma);
    stars
        .iter()
        .map(|star| residual(star, values, known))
        .chain(prior)
        .chain([in_focus, values[4] - 1.0])
        .collect()
}

fn robust_scale(stars: &[SizedStar], values: &[f64], known: Known) -> f64 {
    let mut apart: Vec<f64> = stars
        .iter()
        .map(|s| residual(s, values, known).abs())
        .collect();
    sigma_of(&mut apart).max(1.0)
}
