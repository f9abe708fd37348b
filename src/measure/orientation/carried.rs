//! One picture, two ways to hold the camera: the modes that the one answer has, in the pupil axes of the other.

use crate::axes::FieldM;
use crate::instrument::Hold;
use crate::pupil::axes_of;
use crate::state::{Coma, Modes};
use crate::wavefront::{noll_index, noll_n_m};
use num_complex::Complex64;
use std::f64::consts::PI;

/// How an azimuth of the pupil changes from one hold to another while its place in the frame stays: p′ = ±p + offset.
struct AzimuthChange {
    reversed: bool,
    offset_rad: f64,
}

impl AzimuthChange {
    fn between(from: Hold, to: Hold) -> AzimuthChange {
        let reversed = from.mirrored != to.mirrored;
        let offset_rad = match reversed {
            true => PI + from.rotation_rad + to.rotation_rad,
            false => to.rotation_rad - from.rotation_rad,
        };
        AzimuthChange {
            reversed,
            offset_rad,
        }
    }
}

/// Modes (metres RMS, pupil axes of `from`) in the pupil axes of `to`: the wavefront stays where it is in the frame.
pub fn carried(modes: &Modes, from: Hold, to: Hold) -> Modes {
    let change = AzimuthChange::between(from, to);
    let mut all = Modes::none();
    for (noll, value) in modes.iter() {
        let (n, m) = noll_n_m(noll);
        if m == 0 {
            all.add(noll, value);
            continue;
        }
        let order = f64::from(m.unsigned_abs());
        // as a complex number: cosine part + i sine part
        let alone = match m > 0 {
            true => Complex64::new(value, 0.0),
            false => Complex64::new(0.0, value),
        };
        let same_way = if change.reversed { alone.conj() } else { alone };
        let turned = Complex64::cis(order * change.offset_rad) * same_way;
        all.add(noll_index(n, m.abs()), turned.re);
        all.add(noll_index(n, -m.abs()), turned.im);
    }
    all
}

/// A vector of the pupil (coma, tilt) in the pupil axes of another hold.
pub fn carried_vector(vector: [f64; 2], from: Hold, to: Hold) -> [f64; 2] {
    axes_of(to).backward(axes_of(from).forward(vector))
}

/// A place in the field, in the pupil axes of another hold.
pub fn carried_field(field_m: FieldM, from: Hold, to: Hold) -> FieldM {
    FieldM::new(carried_vector(field_m.xy(), from, to))
}

/// Coma with its covariance, in the pupil axes of another hold.
pub fn carried_coma(coma: &Coma, from: Hold, to: Hold) -> Coma {
    let change = AzimuthChange::between(from, to);
    let (sin, cos) = (libm::sin(change.offset_rad), libm::cos(change.offset_rad));
    let flip = if change.reversed { -1.0 } else { 1.0 };
    // columns of the change of axes: where +x and +y go
    coma.turned([[cos, -flip * sin], [sin, flip * cos]])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::FocusLaw;
    use crate::testing::fast_unit;
    use crate::units::{DEG, NM};
    use crate::wavefront::Wavefront;

    /// The wavefront at places of the frame, point by point.
    #[test]
    fn the_wavefront_stays_where_it_is_in_the_frame() {
        let unit = fast_unit();
        assert_eq!(unit.telescope.focus_law, FocusLaw::Sine);
        let modes: Modes = (2..=22)
            .map(|noll| (noll, (f64::from(noll) - 9.5) * NM))
            .collect();
        let hold = |degrees: f64, mirrored| Hold {
            rotation_rad: degrees * DEG,
            mirrored,
        };
        let holds = [
            hold(0.0, false),
            hold(37.0, false),
            hold(-121.0, true),
            hold(80.0, true),
        ];
        for from in holds {
            for to in holds {
                let there = carried(&modes, from, to);
                let at = |modes: &Modes, hold: Hold, place: [f64; 2]| {
                    Wavefront::new(&unit.telescope, modes, 0.0, 550e-9, axes_of(hold))
                        .value_m(place)
                };
                for place in [[0.03, 0.01], [-0.05, 0.06], [0.0, -0.08]] {
                    let apart = at(&modes, from, place) - at(&there, to, place);
                    assert!(apart.abs() < 1e-6 * NM, "{from:?} {to:?} {place:?} {apart}");
                }
                let vector = carried_vector([modes.get(8), modes.get(7)], from, to);
                let coma = carried_coma(&Coma::of(&modes), from, to).xy_m();
                for [x, y] in [vector, coma] {
                    assert!((x - there.get(8)).abs() < 1e-6 * NM);
                    assert!((y - there.get(7)).abs() < 1e-6 * NM);
                }
            }
        }
    }
}
