//! Flags that the fit of a star gives reason for: whether it explains the star, and whether it says anything.

use super::fit::{Fitted, HIGHER_ORDER_MODES, Unknown};
use super::settings::JudgingSettings;
use crate::flag::{Flag, Flags};

/// What the owner should know of a fit.
pub fn judged(fitted: &Fitted, settings: &JudgingSettings) -> Flags {
    let free = |unknown| fitted.get(unknown);
    let blur_rad = free(Unknown::Seeing(0)).map_or(0.0, |seeing| libm::exp(seeing.0));
    let uncertain = |noll| {
        let sigma = free(Unknown::Mode(noll)).and_then(|found| found.1);
        sigma.is_none_or(|s| s > settings.coma_sigma_m)
    };
    let poor = fitted.unexplained > settings.poor_fit_unexplained_share
        || fitted.model_error > settings.poor_fit_model_error_share;
    let higher_order = free(Unknown::Mode(HIGHER_ORDER_MODES[0])).is_some();
    let reasons = [
        (fitted.left_out_px > 0, Flag::PixelsLeftOut),
        (!fitted.settled, Flag::NotSettled),
        (higher_order, Flag::HigherOrderModes),
        (
            fitted.chi_square > settings.rough_fit_chi_square,
            Flag::RoughFit,
        ),
        (poor, Flag::PoorFit),
        (blur_rad > settings.very_blurred_rad, Flag::VeryBlurred),
        (uncertain(7) || uncertain(8), Flag::ComaUncertain),
    ];
    let given = reasons.into_iter().filter(|(given, _)| *given);
    given.map(|(_, flag)| flag).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::fit::TrialState;
    use crate::state::Modes;
    use crate::units::{ARCSEC, NM};

    /// A fit that explains its star, with coma known to a nanometre and seeing of 2 arcsec.
    fn good() -> Fitted {
        let unknowns = vec![Unknown::Mode(7), Unknown::Mode(8), Unknown::Seeing(0)];
        Fitted {
            trial: TrialState {
                unknowns,
                values: vec![40.0 * NM, 30.0 * NM, libm::log(2.0 * ARCSEC)],
                fixed: Modes::none(),
            },
            sigmas: vec![Some(NM), Some(NM), Some(0.01)],
            covariance: vec![vec![0.0; 3]; 3],
            chi_square: 1.0,
            model_error: 0.0,
            unexplained: 0.0,
            left_out_px: 0,
            settled: true,
        }
    }

    #[test]
    fn each_flag_of_a_fit_has_one_reason() {
        let settings = JudgingSettings::default();
        let flags = |change: &dyn Fn(&mut Fitted)| {
            let mut fitted = good();
            change(&mut fitted);
            judged(&fitted, &settings)
        };
        assert_eq!(flags(&|_| {}), Flags::default());
        let only = |flag| Flags::from([flag]);
        let left_out = flags(&|fit| fit.left_out_px = 1);
        assert_eq!(left_out, only(Flag::PixelsLeftOut));
        assert_eq!(flags(&|fit| fit.settled = false), only(Flag::NotSettled));
        assert_eq!(flags(&|fit| fit.chi_square = 4.1), only(Flag::RoughFit));
        assert_eq!(flags(&|fit| fit.unexplained = 0.21), only(Flag::PoorFit));
        assert_eq!(flags(&|fit| fit.model_error = 0.14), only(Flag::PoorFit));
        let blurred = flags(&|fit| fit.trial.values[2] = libm::log(6.1 * ARCSEC));
        assert_eq!(blurred, only(Flag::VeryBlurred));
        let higher = flags(&|fit| fit.trial.unknowns[2] = Unknown::Mode(HIGHER_ORDER_MODES[0]));
        assert_eq!(higher, only(Flag::HigherOrderModes));
        for axis in [0, 1] {
            for sigma in [None, Some(61.0 * NM)] {
                let uncertain = flags(&|fit| fit.sigmas[axis] = sigma);
                assert_eq!(uncertain, only(Flag::ComaUncertain));
            }
        }
    }
}
