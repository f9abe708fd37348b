//! Colour filters as a file must give them.
//!
//! A file gives each filter as it is, and the camera's own passband as one more filter before them all; the
//! [`ColourArray`](crate::instrument::ColourArray) holds what both let through ([`both`]). Here the own passband is taken out again: what is found, put
//! behind the own passband, gives what the array holds.

use crate::instrument::Passband;
use crate::spectrum::{both, edges, transmission};

/// Largest difference, of a wavelength as a share and of a transmission, that is rounding.
const ROUNDING: f64 = 1e-12;
/// Steps into which [`both`] cuts what lies between two points of its tables.
const PARTS: usize = 10;

/// The filter that is `behind` when it stands behind the camera's `own` passband; `None` where there is none.
///
/// The parts of a product of two tables are found at the points that the tables had: there the filter is the product over
/// the own transmission, and where that is 0, the line through the two steps beside it.
pub(super) fn typed_filter(own: &Passband, behind: &Passband) -> Option<Passband> {
    let cut = Passband::Band(edges(behind));
    let candidates = [Some(behind.clone()), Some(cut), quotient(own, behind)];
    candidates
        .into_iter()
        .flatten()
        .find(|filter| both(own, filter).is_some_and(|product| same(&product, behind)))
}

fn quotient(own: &Passband, behind: &Passband) -> Option<Passband> {
    let Passband::Table(points) = behind else {
        return None;
    };
    let ratio = |index: usize| {
        let (wavelength_m, product) = *points.get(index)?;
        let own = transmission(own, wavelength_m);
        (own > 0.0).then(|| product / own)
    };
    let line = |near: Option<usize>, far: Option<usize>| Some(2.0 * ratio(near?)? - ratio(far?)?);
    let knot = |index: usize| {
        let filter = ratio(index)
            .or_else(|| line(Some(index + 1), Some(index + 2)))
            .or_else(|| line(index.checked_sub(1), index.checked_sub(2)));
        (points[index].0, filter.unwrap_or(0.0).clamp(0.0, 1.0))
    };
    let knots: Vec<(f64, f64)> = (0..points.len()).step_by(PARTS).map(knot).collect();
    (points.len() % PARTS == 1 && knots.len() >= 2).then_some(Passband::Table(knots))
}

fn same(a: &Passband, b: &Passband) -> bool {
    let length = |a: &f64, b: &f64| (a - b).abs() <= ROUNDING * b.abs();
    match (a, b) {
        (Passband::Band(a), Passband::Band(b)) => a.iter().zip(b).all(|(a, b)| length(a, b)),
        (Passband::Table(a), Passband::Table(b)) => {
            let near = |(a, b): (&(f64, f64), &(f64, f64))| {
                length(&a.0, &b.0) && (a.1 - b.1).abs() <= ROUNDING
            };
            a.len() == b.len() && a.iter().zip(b).all(near)
        }
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(points: &[(f64, f64)]) -> Passband {
        Passband::Table(points.iter().map(|(nm, t)| (nm * 1e-9, *t)).collect())
    }

    /// Whatever stands behind whatever is found as a filter that gives the same, also where the own passband is dark.
    #[test]
    fn a_filter_is_found_for_every_product() {
        let band = |from: f64, to: f64| Passband::Band([from * 1e-9, to * 1e-9]);
        let dark_middle = table(&[
            (400.0, 0.0),
            (450.0, 0.7),
            (500.0, 0.0),
            (530.0, 0.0),
            (590.0, 0.9),
            (700.0, 0.0),
        ]);
        let slope = table(&[(410.0, 0.3), (487.3, 1.0), (611.0, 0.2), (690.0, 0.05)]);
        let all = [band(430.0, 650.0), band(455.5, 601.0), dark_middle, slope];
        for own in &all {
            for filter in &all {
                let behind = both(own, filter).expect("some light");
                let found = typed_filter(own, &behind).expect("a filter");
                let again = both(own, &found).expect("some light");
                assert!(same(&again, &behind), "{own:?} {filter:?} {found:?}");
            }
        }
    }

    #[test]
    fn what_the_own_passband_keeps_out_is_behind_nothing() {
        let own = Passband::Band([500e-9, 600e-9]);
        assert_eq!(typed_filter(&own, &Passband::Band([560e-9, 640e-9])), None);
        let brighter = table(&[(510.0, 0.5), (540.0, 0.6)]);
        let dimmer = table(&[(500.0, 0.2), (600.0, 0.2)]);
        assert_eq!(typed_filter(&dimmer, &brighter), None);
    }
}
