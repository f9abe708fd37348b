//! The tilt that looks tell, reckoned with the owner's own numbers.

use super::action::Action;
use super::orientation::orientation;
use super::session::{Round, Session};
use super::sight::{SightShape, exact};
use crate::instrument::Assembly;
use crate::state::{ScrewTurns, State};
use crate::units::ARCMIN;

/// The tilt that is told since the last turn; `None` where nothing tells it, or where it is not known how the camera is turned.
pub(super) fn estimate(session: &Session, assembly: &Assembly) -> Option<[f64; 2]> {
    let told = telling(session)?;
    let seen = match &told.sight.shape {
        SightShape::Doughnut { shift_px, .. } if session.level().hides_camera() => {
            orientation(session, assembly)?.undo(shift_px.xy()).to_vec()
        }
        shape => shape.numbers(),
    };
    let (zero, slopes) = slopes(session, told)?;
    if seen.len() != zero.len() {
        return None;
    }
    solve(
        &slopes,
        &seen
            .iter()
            .zip(&zero)
            .map(|(s, z)| s - z)
            .collect::<Vec<f64>>(),
    )
}

/// The look that tells most of the unit as it stands: the latest where it shows spikes, else the widest ring since the last turn. A ring near focus is
/// small, and places in it are read to the same part of a pixel.
fn telling(session: &Session) -> Option<&Round> {
    let rounds = session.rounds();
    let latest = rounds.last()?;
    if let SightShape::Spikes { .. } = latest.sight.shape {
        return Some(latest);
    }
    let turned = |round: &Round| matches!(round.action, Some(Action::Turn { .. } | Action::Undo));
    let since = rounds.iter().rposition(turned).unwrap_or(0);
    let wide = |round: &&Round| match round.sight.shape {
        SightShape::Doughnut { diameter_px, .. } => diameter_px,
        _ => 0.0,
    };
    let widest = rounds[since..]
        .iter()
        .max_by(|a, b| wide(a).total_cmp(&wide(b)));
    widest.filter(|round| wide(round) > 0.0)
}

/// What an aligned telescope shows, and the change of each number per radian of tilt along x and y, as the owner reckons it.
pub(super) fn slopes(session: &Session, latest: &Round) -> Option<(Vec<f64>, [Vec<f64>; 2])> {
    let owner = session.owner();
    let state = |tilt_rad: [f64; 2]| State {
        sensor_offset_m: reckoned_offset_m(session, latest),
        mask_on: matches!(latest.sight.shape, SightShape::Spikes { .. }),
        flexure_rad: tilt_rad,
        turns: ScrewTurns::default(),
        recentred: true,
        ..session.state()
    };
    let numbers = |tilt_rad| exact(owner, &state(tilt_rad)).shape.numbers();
    let zero = numbers([0.0; 2]);
    let along = |axis: usize| {
        let mut tilt = [0.0; 2];
        tilt[axis] = ARCMIN;
        let there = numbers(tilt);
        let slope = zero
            .iter()
            .zip(&there)
            .map(|(z, t)| (t - z) / ARCMIN)
            .collect::<Vec<f64>>();
        (there.len() == zero.len() && !zero.is_empty()).then_some(slope)
    };
    let slopes = [along(0)?, along(1)?];
    Some((zero, slopes))
}

/// Defocus from the size of the star; where the star tells nothing, far enough out for a doughnut.
fn reckoned_offset_m(session: &Session, latest: &Round) -> f64 {
    let owner = session.owner();
    let ring = |shape: &SightShape| match shape {
        SightShape::Doughnut {
            diameter_px,
            inside,
            ..
        } => {
            let size_m = diameter_px * owner.camera.pixel_m * owner.telescope.focal_ratio();
            Some(if *inside { -size_m } else { size_m })
        }
        _ => None,
    };
    match &latest.sight.shape {
        SightShape::Spikes { .. } => 0.0,
        shape => ring(shape)
            .or_else(|| {
                session
                    .rounds()
                    .iter()
                    .rev()
                    .find_map(|r| ring(&r.sight.shape))
            })
            .unwrap_or(0.0),
    }
}

/// Least squares for two unknowns.
fn solve(slopes: &[Vec<f64>; 2], seen: &[f64]) -> Option<[f64; 2]> {
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let [x, y] = slopes;
    let (xx, xy, yy) = (dot(x, x), dot(x, y), dot(y, y));
    let determinant = xx * yy - xy * xy;
    if determinant <= 1e-9 * xx * yy {
        return None;
    }
    let (xs, ys) = (dot(x, seen), dot(y, seen));
    Some([
        (xs * yy - ys * xy) / determinant,
        (ys * xx - xs * xy) / determinant,
    ])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_unknowns_from_three_numbers() {
        let slopes = [vec![2.0, -1.0, -1.0], vec![0.0, 1.7, -1.7]];
        let seen: Vec<f64> = (0..3)
            .map(|k| 0.3 * slopes[0][k] - 0.8 * slopes[1][k])
            .collect();
        let [x, y] = solve(&slopes, &seen).unwrap();
        assert!((x - 0.3).abs() < 1e-12 && (y + 0.8).abs() < 1e-12);
        assert_eq!(solve(&[vec![1.0, 2.0], vec![2.0, 4.0]], &[1.0, 1.0]), None);
    }
}
