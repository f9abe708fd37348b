//! How much coma is how much: the one scale that every verb, the page and README speak in.
//!
//! Coma is told in nm RMS, which is how far the waves are out of step. What that does to a picture depends on the telescope and the
//! air: the same coma widens a star of a fast telescope more, and bad seeing hides it. So the marks are shares by which a focused star
//! gets wider, and their nanometres are worked out for each telescope. On the telescope of
//! `scenarios/fast-unit-one-screw.toml` (f/2.3) under ordinary seeing they are 26, 38 and 188 nm, which `skewstar check` prints.

use crate::instrument::Instrument;
use crate::units::{ARCSEC, NM};
use serde::Serialize;

/// Seeing that is reckoned with where nobody says any: 2 arcsec FWHM. Common practice, no source.
pub const ORDINARY_SEEING_RAD: f64 = 2.0 * ARCSEC;
/// A star that is wider by less than this share looks the same. Common practice, no source.
pub const INVISIBLE_SHARE: f64 = 0.05;
/// One that is wider by this share is told from a good one, side by side. Common practice, no source.
pub const SHOWS_SHARE: f64 = 0.10;
/// One that is two and a half times as wide has a tail that nobody overlooks. Common practice, no source.
pub const COMET_SHARE: f64 = 1.5;
/// FWHM over σ of a normal distribution, 2√(2 ln 2).
pub const FWHM_PER_SIGMA: f64 = 2.354_820_045;

/// The coma, metres RMS, that widens a focused star by a share of its width.
///
/// Rays of coma c spread by 2N·√56·c RMS on the sensor, 56 being the mean of |∇Z|² of Noll 8 over the unit circle (derived here; a test
/// sums it). Atmosphere, pixel and coma add in squares. Diffraction is left out: it widens a star of a fast telescope by much less
/// than the air does, and on a slow one the marks come out too low.
pub fn widening_coma_m(instrument: &Instrument, seeing_rad: f64, wider_share: f64) -> f64 {
    let (telescope, pixel_m) = (&instrument.telescope, instrument.camera.pixel_m);
    let of_atmosphere = 2.0 * (seeing_rad * telescope.focal_length_m / FWHM_PER_SIGMA).powi(2);
    let of_pixel = pixel_m * pixel_m / 6.0;
    let wider = ((1.0 + wider_share).powi(2) - 1.0) * (of_atmosphere + of_pixel);
    wider.sqrt() / (2.0 * telescope.focal_ratio() * 56f64.sqrt())
}

/// The marks of one telescope under one seeing, nm RMS of coma.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ComaScale {
    /// Below this nobody sees it in a picture.
    pub invisible_nm: f64,
    /// From here on it shows in pictures.
    pub shows_nm: f64,
    /// From here on every star is a comet.
    pub comet_nm: f64,
    /// The seeing that this holds for, FWHM.
    pub seeing_arcsec: f64,
}

/// What an amount of coma looks like in a focused picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum ComaLook {
    /// Nobody sees it.
    Invisible,
    /// Between the first two marks.
    HardlySeen,
    /// It shows.
    Shows,
    /// Every star has a tail.
    Comet,
}

impl ComaLook {
    /// Words that go behind an amount of coma: "197 nm RMS: it shows in your pictures".
    pub fn words(self) -> &'static str {
        match self {
            ComaLook::Invisible => "nobody sees that in a picture",
            ComaLook::HardlySeen => "that is hardly seen in a picture",
            ComaLook::Shows => "that shows in your pictures",
            ComaLook::Comet => "that makes a comet of every star",
        }
    }
}

impl ComaScale {
    /// The marks for a seeing (FWHM); [`ORDINARY_SEEING_RAD`] where none is known.
    pub fn of(instrument: &Instrument, seeing_rad: Option<f64>) -> ComaScale {
        let seeing_rad = seeing_rad.unwrap_or(ORDINARY_SEEING_RAD);
        let nm = |share| widening_coma_m(instrument, seeing_rad, share) / NM;
        ComaScale {
            invisible_nm: nm(INVISIBLE_SHARE),
            shows_nm: nm(SHOWS_SHARE),
            comet_nm: nm(COMET_SHARE),
            seeing_arcsec: seeing_rad / ARCSEC,
        }
    }

    /// What an amount of coma looks like.
    pub fn look(&self, coma_nm: f64) -> ComaLook {
        match coma_nm {
            nm if nm < self.invisible_nm => ComaLook::Invisible,
            nm if nm < self.shows_nm => ComaLook::HardlySeen,
            nm if nm < self.comet_nm => ComaLook::Shows,
            _ => ComaLook::Comet,
        }
    }

    /// "below 26 nm nobody sees it in a picture, from 38 nm it shows, from 188 nm every star is a comet (seeing of 2.0 arcsec)".
    pub fn words(&self) -> String {
        format!(
            "below {:.0} nm nobody sees it in a picture, from {:.0} nm it shows, from {:.0} nm every star is a comet (seeing of {:.1} arcsec)",
            self.invisible_nm, self.shows_nm, self.comet_nm, self.seeing_arcsec
        )
    }
}

/// What the unit of coma is, where it is first spoken of.
pub const NM_RMS_IN_WORDS: &str =
    "nm RMS is how far the waves of the light are out of step, in millionths of a millimetre";

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::fast_unit;
    use crate::wavefront::ZernikeSum;

    /// Slow twin of the 56: the mean of |∇Z8|² over the unit circle, by summing.
    #[test]
    fn rays_of_coma_spread_by_the_root_of_56() {
        let coma = ZernikeSum::new(&[(8, 1.0)].into_iter().collect());
        let (mut sum, mut count) = (0.0, 0.0);
        for j in -200..200 {
            for i in -200..200 {
                let (x, y) = ((f64::from(i) + 0.5) / 200.0, (f64::from(j) + 0.5) / 200.0);
                if x * x + y * y < 1.0 {
                    let slope = coma.value_slope(x, y).slope;
                    sum += slope[0] * slope[0] + slope[1] * slope[1];
                    count += 1.0;
                }
            }
        }
        approx::assert_relative_eq!(sum / count, 56.0, max_relative = 3e-3);
    }

    /// By hand, at f = 456 mm and f/2.4: seeing of 2 arcsec is 4.4215 um wide on the sensor, σ = 1.8776 um along an axis, 2σ² = 7.0511 um²
    /// along both; a pixel of 3.8 um adds 3.8²/6 = 2.4067 um². A star wider by 5 % has 0.1025 of that more, 0.96942 um², wider by a tenth
    /// 0.21 of it, 1.98612 um², two and a half times as wide 5.25 of it, 49.6530 um²: roots over 2 · 2.4 · √56 = 35.920.
    #[test]
    fn the_marks_are_those_worked_out_by_hand() {
        let scale = ComaScale::of(&fast_unit(), None);
        for (found, by_hand) in [
            (scale.invisible_nm, 27.4107),
            (scale.shows_nm, 39.2343),
            (scale.comet_nm, 196.1716),
        ] {
            approx::assert_abs_diff_eq!(found, by_hand, epsilon = 1e-3);
        }
        let calm = ComaScale::of(&fast_unit(), Some(1.0 * ARCSEC));
        assert!(calm.comet_nm < scale.comet_nm, "good air hides less");
    }

    #[test]
    fn each_mark_begins_what_it_names() {
        let scale = ComaScale::of(&fast_unit(), None);
        let just_below = |nm: f64| nm * (1.0 - 1e-12);
        for (mark, from, before) in [
            (
                scale.invisible_nm,
                ComaLook::HardlySeen,
                ComaLook::Invisible,
            ),
            (scale.shows_nm, ComaLook::Shows, ComaLook::HardlySeen),
            (scale.comet_nm, ComaLook::Comet, ComaLook::Shows),
        ] {
            assert_eq!(scale.look(mark), from);
            assert_eq!(scale.look(just_below(mark)), before);
        }
    }
}
