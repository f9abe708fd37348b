//! Several frames of one state put together: the atmosphere's own coma is another one in each, and the mean knows the telescope's better.

use super::learn::Sighting;
use crate::axes::FieldM;
use crate::instrument::{Hold, Instrument};
use crate::measure::measurement::aligned_modes;
use crate::pupil::axes_of;
use crate::state::Coma;

/// The star of the last of several frames of one state, with its coma known by all of them: the mean by their weights, where each has its
/// own uncertainty and the atmosphere's `atmosphere_m` (both components together, standard deviation, metres RMS; another draw in each
/// frame). Coma that the aligned telescope has where a star stood is taken off first, and put on again where the last one stands.
///
/// `None` for no frame, and where one of them does not determine coma.
pub fn together(
    sightings: &[Sighting],
    atmosphere_m: f64,
    instrument: &Instrument,
) -> Option<Sighting> {
    let last = sightings.last()?;
    let (mut weights, mut sum) = (0.0, [0.0; 2]);
    for sighting in sightings {
        let sigma_m = sighting.coma.sigma_per_axis_m()?;
        let weight = (sigma_m * sigma_m + 0.5 * atmosphere_m * atmosphere_m)
            .max(LEAST_M2)
            .recip();
        let seen_m = sighting.in_frame_m(instrument);
        weights += weight;
        sum = [0, 1].map(|axis| sum[axis] + weight * seen_m[axis]);
    }
    let mean_m = sum.map(|component| component / weights);
    Some(Sighting {
        coma: at(mean_m, last.hold, last.field_m, instrument).with_sigma(weights.sqrt().recip()),
        ..*last
    })
}

/// No coma is taken to be known better, so that no weight is infinite: a femtometre.
const LEAST_M2: f64 = 1e-30;

/// Coma beyond that of the aligned telescope, frame axes, as the total in pupil axes of a hold.
fn at(beyond_m: [f64; 2], hold: Hold, field_m: FieldM, instrument: &Instrument) -> Coma {
    let aligned = Coma::of(&aligned_modes(instrument, field_m)).xy_m();
    let own_m = axes_of(hold).backward(beyond_m);
    Coma::along_axes([0, 1].map(|axis| own_m[axis] + aligned[axis]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::axes::FramePx;
    use crate::testing::fast_unit;
    use crate::units::NM;
    use approx::assert_relative_eq;

    fn seen(x_nm: f64, y_nm: f64, sigma_nm: f64, hold: Hold) -> Sighting {
        Sighting {
            coma: Coma::along_axes([x_nm * NM, y_nm * NM]).with_sigma(sigma_nm * NM),
            hold,
            star_px: FramePx::new([31.5, 31.5]),
            field_m: FieldM::ZERO,
        }
    }

    /// By hand: 30 ± 3 and 39 ± 6 weigh 4 : 1 and give 31.8 ± 2.683; with 6·√2 of atmosphere, 6 an axis, 45 and 72 nm² make 1/45 + 1/72.
    #[test]
    fn frames_count_by_what_they_know() {
        let unit = fast_unit();
        let hold = unit.camera.hold();
        let frames = [seen(30.0, 0.0, 3.0, hold), seen(39.0, 0.0, 6.0, hold)];
        let mean = together(&frames, 0.0, &unit).unwrap().coma;
        assert_relative_eq!(mean.xy_nm()[0], 31.8, max_relative = 1e-12);
        assert_relative_eq!(
            mean.sigma_per_axis_m().unwrap() / NM,
            (36.0f64 / 5.0).sqrt(),
            max_relative = 1e-12
        );
        let atmosphere_m = 6.0 * 2f64.sqrt() * NM;
        let mean = together(&frames, atmosphere_m, &unit).unwrap().coma;
        let weights = [1.0 / 45.0, 1.0 / 72.0];
        let by_hand = (30.0 * weights[0] + 39.0 * weights[1]) / (weights[0] + weights[1]);
        assert_relative_eq!(mean.xy_nm()[0], by_hand, max_relative = 1e-12);
        assert_relative_eq!(
            mean.sigma_per_axis_m().unwrap() / NM,
            (weights[0] + weights[1]).sqrt().recip(),
            max_relative = 1e-12
        );
    }

    /// A camera turned by 90 degrees between two frames' fits shows the same coma: (30, 0) there is (0, -30) here or the other way round,
    /// and the mean is as long as each.
    #[test]
    fn frames_measured_in_other_axes_are_brought_into_those_of_the_last() {
        let unit = fast_unit();
        let first = unit.camera.hold();
        let turned = Hold {
            rotation_rad: first.rotation_rad + std::f64::consts::FRAC_PI_2,
            ..first
        };
        let a = seen(30.0, 10.0, 3.0, first);
        let in_frame = axes_of(first).forward(a.coma.xy_m());
        let other = axes_of(turned).backward(in_frame).map(|m| m / NM);
        let b = seen(other[0], other[1], 3.0, turned);
        let mean = together(&[b, a], 0.0, &unit).unwrap();
        assert_relative_eq!(mean.coma.xy_nm()[0], 30.0, max_relative = 1e-9);
        assert_relative_eq!(mean.coma.xy_nm()[1], 10.0, max_relative = 1e-9);
        assert!(together(&[], 0.0, &unit).is_none());
    }
}
