//! Refractive indices of common glasses and plastics, by the dispersion formulas of published catalogues.
//!
//! n² = 1 + Σ Bᵢ λ²/(λ² − Cᵢ), λ in µm (Sellmeier), relative to the atmosphere at 20 °C. It refuses a wavelength outside the range for which a
//! formula was fitted.
//!
//! Sources: N-… and F2, SF2, K10: SCHOTT's catalogue of 20 January 2017, coefficients as in the refractiveindex.info database (public domain,
//! CC0); `fused-silica`: I. H. Malitson, J. Opt. Soc. Am. 55, 1205 (1965); `PMMA` and `polycarbonate`: N. Sultanova, S. Kasarova and
//! I. Nikolov, Acta Phys. Pol. A 116, 585 (2009), both by way of the same database. Each was copied by a program on 30 November 2026; the last two
//! columns, the index at the yellow line of helium (587.56 nm) and Abbe's number as printed in the catalogue, are what the test checks against.
//! For the last three materials, whose sources print no Abbe number, these columns were computed with another program from the same formula.

use crate::units::UM;

/// A glass or plastic of a catalogue.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Glass {
    /// Its name in the catalogue.
    pub name: &'static str,
    strengths: [f64; 3],
    resonances_um2: [f64; 3],
    fitted_um: [f64; 2],
    #[cfg_attr(not(test), allow(dead_code))] // what the catalogue prints, for the test
    printed: [f64; 2],
}

impl Glass {
    /// The glass of a name, upper or lower case.
    pub fn named(name: &str) -> Option<&'static Glass> {
        GLASSES
            .iter()
            .find(|glass| glass.name.eq_ignore_ascii_case(name))
    }

    /// Every name, in the order of the table.
    pub fn names() -> impl Iterator<Item = &'static str> {
        GLASSES.iter().map(|glass| glass.name)
    }

    /// Wavelengths between which the formula was fitted.
    pub fn fitted_m(&self) -> [f64; 2] {
        self.fitted_um.map(|um| um * UM)
    }

    /// Refractive index relative to the atmosphere; `None` outside the wavelengths for which the formula was fitted.
    pub fn index(&self, wavelength_m: f64) -> Option<f64> {
        let um = wavelength_m / UM;
        let [from, to] = self.fitted_um;
        let inside = (from..=to).contains(&um);
        let square = um * um;
        let terms = self.strengths.iter().zip(&self.resonances_um2);
        let sum: f64 = terms.map(|(b, c)| b * square / (square - c)).sum();
        inside.then(|| (1.0 + sum).sqrt())
    }
}

const fn glass(
    name: &'static str,
    strengths: [f64; 3],
    resonances_um2: [f64; 3],
    fitted_um: [f64; 2],
    printed: [f64; 2],
) -> Glass {
    Glass {
        name,
        strengths,
        resonances_um2,
        fitted_um,
        printed,
    }
}

#[rustfmt::skip] // a table: one line a glass
static GLASSES: [Glass; 20] = [
    glass("N-BK7", [1.03961212, 0.231792344, 1.01046945], [0.00600069867, 0.0200179144, 103.560653], [0.3, 2.5], [1.5168, 64.17]),
    glass("N-K5", [1.08511833, 0.199562005, 0.930511663], [0.00661099503, 0.024110866, 111.982777], [0.31, 2.5], [1.52249, 59.48]),
    glass("K10", [1.15687082, 0.0642625444, 0.872376139], [0.00809424251, 0.0386051284, 104.74773], [0.3, 2.5], [1.50137, 56.41]),
    glass("N-FK5", [0.844309338, 0.344147824, 0.910790213], [0.00475111955, 0.0149814849, 97.8600293], [0.26, 2.5], [1.48749, 70.41]),
    glass("N-FK51A", [0.971247817, 0.216901417, 0.904651666], [0.00472301995, 0.0153575612, 168.68133], [0.29, 2.5], [1.48656, 84.47]),
    glass("N-BAK1", [1.12365662, 0.309276848, 0.881511957], [0.00644742752, 0.0222284402, 107.297751], [0.3, 2.5], [1.5725, 57.55]),
    glass("N-BAK4", [1.28834642, 0.132817724, 0.945395373], [0.00779980626, 0.0315631177, 105.965875], [0.334, 2.5], [1.56883, 55.98]),
    glass("N-BALF4", [1.31004128, 0.142038259, 0.964929351], [0.0079659645, 0.0330672072, 109.19732], [0.35, 2.5], [1.57956, 53.87]),
    glass("N-SK16", [1.34317774, 0.241144399, 0.994317969], [0.00704687339, 0.0229005, 92.7508526], [0.31, 2.5], [1.62041, 60.32]),
    glass("N-LAK9", [1.46231905, 0.344399589, 1.15508372], [0.00724270156, 0.0243353131, 85.4686868], [0.3, 2.5], [1.691, 54.71]),
    glass("N-KZFS4", [1.35055424, 0.197575506, 1.09962992], [0.0087628207, 0.0371767201, 90.3866994], [0.334, 2.5], [1.61336, 44.49]),
    glass("F2", [1.34533359, 0.209073176, 0.937357162], [0.00997743871, 0.0470450767, 111.886764], [0.32, 2.5], [1.62004, 36.37]),
    glass("N-F2", [1.39757037, 0.159201403, 1.2686543], [0.00995906143, 0.0546931752, 119.248346], [0.365, 2.5], [1.62005, 36.43]),
    glass("SF2", [1.40301821, 0.231767504, 0.939056586], [0.0105795466, 0.0493226978, 112.405955], [0.35, 2.5], [1.64769, 33.85]),
    glass("N-SF2", [1.47343127, 0.163681849, 1.36920899], [0.0109019098, 0.0585683687, 127.404933], [0.365, 2.5], [1.64769, 33.82]),
    glass("N-SF5", [1.52481889, 0.187085527, 1.42729015], [0.011254756, 0.0588995392, 129.141675], [0.37, 2.5], [1.67271, 32.25]),
    glass("N-SF11", [1.73759695, 0.313747346, 1.89878101], [0.013188707, 0.0623068142, 155.23629], [0.37, 2.5], [1.78472, 25.68]),
    glass("fused-silica", [0.6961663, 0.4079426, 0.8974794], [0.00467914825849, 0.013512063073959999, 97.93400253792099], [0.21, 6.7], [1.45846, 67.82]),
    glass("PMMA", [1.1819, 0.0, 0.0], [0.011313, 0.0, 0.0], [0.4368, 1.052], [1.49062, 53.18]),
    glass("polycarbonate", [1.4182, 0.0, 0.0], [0.021304, 0.0, 0.0], [0.4368, 1.052], [1.58476, 27.86]),
];

#[cfg(test)]
mod tests {
    use super::*;

    /// The printed columns of the table: nd to half its last digit, Abbe's number (nd − 1)/(nF − nC) to half its last digit.
    #[test]
    fn indices_are_those_of_the_catalogue() {
        for glass in &GLASSES {
            let at = |um: f64| glass.index(um * UM).expect("a visible line");
            let (d, f, c) = (at(0.587_561_8), at(0.486_132_7), at(0.656_272_5));
            let [nd, abbe] = glass.printed;
            assert!((d - nd).abs() <= 5.1e-6, "{}: {d} {nd}", glass.name);
            let found = (d - 1.0) / (f - c);
            assert!(
                (found - abbe).abs() <= 0.0051,
                "{}: {found} {abbe}",
                glass.name
            );
        }
    }

    #[test]
    fn names_are_found_in_either_case_and_wavelengths_are_limited() {
        let crown = Glass::named("n-bk7").expect("a common crown");
        assert_eq!(crown.name, "N-BK7");
        assert!(Glass::named("butter").is_none());
        assert_eq!(crown.index(0.29 * UM), None);
        assert_eq!(crown.index(2.6 * UM), None);
        assert_eq!(Glass::names().count(), GLASSES.len());
    }
}
