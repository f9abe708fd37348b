//! Which wavelengths a frame is made of, and how much each weighs.
//!
//! A bin weighs photons per nanometre (Planck's law in photons, λ⁻⁴ form) × transmission, both at the bin's centre; without
//! a star, equal photons per nanometre. Source of the law: checks `photometry.planck_photon_ratio`.

use crate::instrument::Passband;

/// One wavelength and its share.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bin {
    /// Wavelength at the bin's centre.
    pub wavelength_m: f64,
    /// Share of the photons; the shares add up to 1, or to 0 where nothing is let through.
    pub weight: f64,
}

/// Splits a passband into `count` bins of equal width; `temperature_k` is the star's, `None` for equal photons per nm.
///
/// A bin without any transmission weighs 0 and is kept, so that bin centres do not depend on the star. Where no bin has
/// any, all weigh 0: there is no light to share.
pub fn bins(passband: &Passband, count: usize, temperature_k: Option<f64>) -> Vec<Bin> {
    let [from, to] = edges(passband);
    let width = (to - from) / count as f64;
    let raw: Vec<(f64, f64)> = (0..count)
        .map(|i| {
            let wavelength = from + width * (i as f64 + 0.5);
            let photons = temperature_k.map_or(1.0, |t| {
                planck_photons(wavelength, t) / planck_photons(0.5 * (from + to), t)
            });
            (wavelength, transmission(passband, wavelength) * photons)
        })
        .collect();
    let total: f64 = raw.iter().map(|r| r.1).sum();
    let share = |weight: f64| {
        if total > 0.0 { weight / total } else { 0.0 }
    };
    raw.into_iter()
        .map(|(wavelength_m, weight)| Bin {
            wavelength_m,
            weight: share(weight),
        })
        .collect()
}

/// The photon-weighted mean wavelength: the reference for modes and focus.
pub fn reference_m(bins: &[Bin]) -> f64 {
    bins.iter().map(|b| b.weight * b.wavelength_m).sum()
}

/// First and last wavelength of a passband.
pub fn edges(passband: &Passband) -> [f64; 2] {
    match passband {
        Passband::Band(band) => *band,
        Passband::Table(table) => {
            let first = table.first().map_or(0.0, |p| p.0);
            [first, table.last().map_or(first, |p| p.0)]
        }
    }
}

/// Transmission at a wavelength: 1 within a band, linear in a table, 0 outside.
pub fn transmission(passband: &Passband, wavelength_m: f64) -> f64 {
    match passband {
        Passband::Band([from, to]) => f64::from(u8::from((*from..=*to).contains(&wavelength_m))),
        Passband::Table(table) => table
            .windows(2)
            .find(|pair| (pair[0].0..=pair[1].0).contains(&wavelength_m))
            .map_or(0.0, |pair| {
                let t = (wavelength_m - pair[0].0) / (pair[1].0 - pair[0].0);
                pair[0].1 + t * (pair[1].1 - pair[0].1)
            }),
    }
}

/// What two filters, one behind the other, let through; `None` where that is nothing.
///
/// Two bands leave a band, a band that reaches over all of a table leaves the table. Else, with a table, the product of the transmissions is a table of their points and a tenth of each step
/// between them: linear there, which differs from the product by at most 1/400 of the two transmissions' changes in a step.
pub fn both(a: &Passband, b: &Passband) -> Option<Passband> {
    const PARTS: usize = 10;
    let ([a_from, a_to], [b_from, b_to]) = (edges(a), edges(b));
    let (from, to) = (a_from.max(b_from), a_to.min(b_to));
    if from >= to {
        return None;
    }
    match (a, b) {
        (Passband::Band(_), Passband::Band(_)) => return Some(Passband::Band([from, to])),
        (Passband::Band(_), table) | (table, Passband::Band(_)) if edges(table) == [from, to] => {
            return lets_light_through(table).then(|| table.clone());
        }
        _ => {}
    }
    let inside = |wavelength: &f64| (from..=to).contains(wavelength);
    let mut knots: Vec<f64> = [a, b].into_iter().flat_map(knots).filter(inside).collect();
    knots.extend([from, to]);
    knots.sort_by(f64::total_cmp);
    knots.dedup();
    let mut points: Vec<f64> = knots
        .windows(2)
        .flat_map(|two| {
            let step = (two[1] - two[0]) / PARTS as f64;
            (0..PARTS).map(move |part| two[0] + step * part as f64)
        })
        .collect();
    points.push(to);
    let product = |w: f64| transmission(a, w) * transmission(b, w);
    let table = Passband::Table(points.into_iter().map(|w| (w, product(w))).collect());
    lets_light_through(&table).then_some(table)
}

fn lets_light_through(passband: &Passband) -> bool {
    match passband {
        Passband::Band(_) => true,
        Passband::Table(table) => table.iter().any(|(_, passed)| *passed > 0.0),
    }
}

/// The wavelengths between which a passband's transmission is linear.
fn knots(passband: &Passband) -> Vec<f64> {
    match passband {
        Passband::Band(ends) => ends.to_vec(),
        Passband::Table(points) => points.iter().map(|(wavelength, _)| *wavelength).collect(),
    }
}

/// Planck's law in photons per unit wavelength, up to a constant: λ⁻⁴ / (exp(hc/λkT) − 1).
pub fn planck_photons(wavelength_m: f64, temperature_k: f64) -> f64 {
    const SECOND_RADIATION_CONSTANT_M_K: f64 = 1.438_776_877_503_933e-2; // hc/k of the exact SI constants
    wavelength_m.powi(-4)
        / libm::expm1(SECOND_RADIATION_CONSTANT_M_K / (wavelength_m * temperature_k))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    /// Product of the transmissions on a fine comb; nothing where the two do not meet.
    #[test]
    fn two_filters_let_through_what_both_do() {
        let band = Passband::Band([480e-9, 560e-9]);
        let narrow = Passband::Band([541e-9, 700e-9]);
        let slope = Passband::Table(vec![(430e-9, 0.1), (523e-9, 0.9), (601e-9, 0.0)]);
        let other = Passband::Table(vec![(470e-9, 0.0), (550e-9, 1.0)]);
        assert_eq!(both(&band, &narrow), Some(Passband::Band([541e-9, 560e-9])));
        for (a, b) in [(&band, &slope), (&slope, &other), (&slope, &band)] {
            let product = both(a, b).unwrap();
            for nm in (420..=610).map(|half| f64::from(half) + 0.37) {
                let w = nm * 1e-9;
                let expected = transmission(a, w) * transmission(b, w);
                assert!(
                    (transmission(&product, w) - expected).abs() < 2.5e-3,
                    "{nm}"
                );
            }
        }
        assert_eq!(both(&other, &Passband::Band([560e-9, 580e-9])), None);
        let wide = Passband::Band([430e-9, 700e-9]);
        assert_eq!(both(&wide, &slope), Some(slope.clone()));
        let dark = Passband::Table(vec![(440e-9, 0.0), (500e-9, 0.0)]);
        assert_eq!(both(&dark, &wide), None);
        assert_eq!(both(&band, &Passband::Band([560e-9, 580e-9])), None);
    }

    /// Planck's law written out with h, c and k of the SI: a cool star shows the last digits of hc/k.
    #[test]
    fn photon_ratio_follows_from_the_exact_constants() {
        let (h, c, k) = (6.626_070_15e-34, 299_792_458.0, 1.380_649e-23);
        let law = |wavelength: f64, kelvin: f64| {
            wavelength.powi(-4) / (h * c / (wavelength * k * kelvin)).exp_m1()
        };
        for kelvin in [2400.0, 5772.0] {
            assert_relative_eq!(
                planck_photons(450e-9, kelvin) / planck_photons(650e-9, kelvin),
                law(450e-9, kelvin) / law(650e-9, kelvin),
                max_relative = 1e-13
            );
        }
    }
}
