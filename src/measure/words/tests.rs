//! Sentences about focus.

use super::*;
use crate::measure::Method;
use crate::measure::fit::{Fitted, TrialState, Unknown};
use crate::predict::ComaScale;
use crate::state::Modes;
use crate::testing::{fast_unit, measured};

/// A masked star of which nothing is known but the sensor's offset and how well it is known.
fn masked([offset_um, sigma_um]: [f64; 2]) -> Measurement {
    let fitted = Fitted {
        trial: TrialState {
            unknowns: vec![Unknown::SensorOffset(0)],
            values: vec![offset_um * UM],
            fixed: Modes::none(),
        },
        sigmas: vec![Some(sigma_um * UM)],
        covariance: vec![vec![(sigma_um * UM).powi(2)]],
        chi_square: 1.0,
        model_error: 0.0,
        unexplained: 0.0,
        left_out_px: 0,
        settled: true,
    };
    measured(Method::MaskedStar, fitted)
}

/// Behind a mask the offset itself tells the side. In focus is said within two standard deviations, but no closer than half a micrometre.
#[test]
fn a_masked_star_is_inside_outside_or_in_focus() {
    let stop = GoodEnough {
        not_seen_m: 10.0 * NM,
        atmosphere_m: None,
        hand_m: None,
        stop_m: 10.0 * NM,
        scale: ComaScale::of(&fast_unit(), None),
    };
    for (offset, said) in [
        (
            [-31.0, 0.1],
            "The sensor sits 31 um (0.031 mm) inside focus.",
        ),
        (
            [31.0, 0.1],
            "The sensor sits 31 um (0.031 mm) outside focus.",
        ),
        ([6.0, 2.5], "The sensor sits 6 um (0.006 mm) outside focus."),
        (
            [-4.0, 2.5],
            "The sensor is in focus, to 5 um (thousandths of a millimetre).",
        ),
        (
            [0.4, 0.1],
            "The sensor is in focus, to 1 um (thousandths of a millimetre).",
        ),
        ([-0.7, 0.1], "The sensor sits 1 um (0.001 mm) inside focus."),
    ] {
        let words = findings(&masked(offset), &fast_unit(), &stop);
        assert_eq!(words[0], said, "{offset:?}: {words:?}");
    }
}
