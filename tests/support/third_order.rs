//! Responses of a prescription by third-order theory, in closed form: the twin of the ray trace in `mechanics`.
//!
//! W131 = √72 · Noll 8 where no higher coma is present. Values are for the star on the old axis, the telescope not pointed
//! anew, so that they can be compared with the books; [`ThirdOrder::at_fixed_place`] turns them into what the sensor shows.
//!
//! Sources: D. J. Schroeder, Astronomical Optics (2000), ch. 5 and 6; R. N. Wilson, Reflecting Telescope Optics I (2004),
//! sect. 3.7; the thin lens: W. T. Welford, Aberrations of Optical Systems (1986), ch. 12; all from memory, held against the
//! table of check values by `tests/published/prescriptions.rs`.

use skewstar::mechanics::prescription::{Lens, Optics, Prescription, TwoMirror, Unit};

/// Third-order numbers of a prescription whose unit turns about its vertex.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThirdOrder {
    /// Coma W131 per radian of tilt.
    pub tilt_w131_m_per_rad: f64,
    /// Image shift per radian of tilt.
    pub tilt_shift_m_per_rad: f64,
    /// Coma W131 per metre of decentre.
    pub decentre_w131_m_per_m: f64,
    /// Image shift per metre of decentre.
    pub decentre_shift_m_per_m: f64,
    /// Coma W131 of the aligned telescope per metre of the image's distance from the axis.
    pub field_w131_m_per_m: f64,
}

/// Paraxial numbers of a two-mirror telescope.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Paraxial {
    /// Magnification of the secondary.
    pub magnification: f64,
    /// Height of a marginal ray at the secondary over that at the primary.
    pub height_ratio: f64,
    /// Focal length.
    pub focal_length_m: f64,
    /// Focus behind the primary's vertex.
    pub back_focus_m: f64,
    /// From the secondary to the primary's focus.
    pub to_primary_focus_m: f64,
}

impl ThirdOrder {
    /// √72 times Noll 8 per radian of tilt at a fixed place of the sensor, the telescope pointed anew.
    pub fn at_fixed_place(&self) -> f64 {
        self.tilt_w131_m_per_rad - self.field_w131_m_per_m * self.tilt_shift_m_per_rad
    }
}

/// The closed forms; `None` for a two-mirror telescope whose primary moves, for which they are not written down here.
pub fn third_order(prescription: &Prescription) -> Option<ThirdOrder> {
    let diameter_m = prescription.aperture_m;
    match (&prescription.optics, prescription.unit) {
        (Optics::Paraboloid { focal_length_m }, _) => Some(paraboloid(diameter_m, *focal_length_m)),
        (Optics::TwoMirror(pair), Unit::Secondary) => Some(secondary(pair, diameter_m)),
        (Optics::TwoMirror(_), _) => None,
        (Optics::Lens(lens), _) => Some(thin_lens(lens, diameter_m)),
    }
}

/// Mirror equations.
pub fn paraxial(pair: &TwoMirror) -> Paraxial {
    let primary_focal_m = 0.5 * pair.primary_radius_m;
    let to_primary_focus_m = primary_focal_m - pair.spacing_m;
    let to_image_m = 1.0 / (1.0 / to_primary_focus_m - 2.0 / pair.secondary_radius_m);
    let magnification = to_image_m / to_primary_focus_m;
    Paraxial {
        magnification,
        height_ratio: to_primary_focus_m / primary_focal_m,
        focal_length_m: magnification * primary_focal_m,
        back_focus_m: to_image_m - pair.spacing_m,
        to_primary_focus_m,
    }
}

/// How far behind the secondary's vertex, away from the primary, a pivot adds no coma: R2/[1 − K2 (m−1)/(m+1)].
pub fn coma_free_pivot_m(pair: &TwoMirror) -> f64 {
    let m = paraxial(pair).magnification;
    pair.secondary_radius_m / (1.0 - pair.secondary_conic * (m - 1.0) / (m + 1.0))
}

/// A tilt is a field angle of the mirror; the image moves by twice the tilt.
fn paraboloid(diameter_m: f64, focal_length_m: f64) -> ThirdOrder {
    let ratio = focal_length_m / diameter_m;
    let per_rad = diameter_m / (32.0 * ratio * ratio);
    // raising the edge at +x turns the mirror's face, and with it the image, towards -x; the star then stands to the -x side
    // of the mirror's axis, at one focal length times the tilt
    ThirdOrder {
        tilt_w131_m_per_rad: per_rad,
        tilt_shift_m_per_rad: -2.0 * focal_length_m,
        // a star at infinity does not see where the mirror stands
        decentre_w131_m_per_m: 0.0,
        decentre_shift_m_per_m: 1.0,
        field_w131_m_per_m: -per_rad / focal_length_m,
    }
}

/// W131 across the field per radian for telescopes without spherical aberration, whatever sets their secondary's conic:
/// −D/(32 N²) [1 + (K1+1) m² (m−β)/(2(1+β))], β the back focus over the primary's focal length.
pub fn corrected_field_w131_m_per_rad(pair: &TwoMirror, diameter_m: f64) -> f64 {
    let p = paraxial(pair);
    let (m, ratio) = (p.magnification, p.focal_length_m / diameter_m);
    let beta = p.back_focus_m / (0.5 * pair.primary_radius_m);
    let of_conic = (pair.primary_conic + 1.0) * m * m * (m - beta) / (2.0 * (1.0 + beta));
    -diameter_m / (32.0 * ratio * ratio) * (1.0 + of_conic)
}

/// W131 = a (m²−1) k D/(32 N²), image 2 a m s, a the right-handed turn about y: minus the tilt of the raised edge.
///
/// Across the field the secondary sees its object off its axis by f1 θ and its footprint by d θ; the primary, at the stop, has
/// the coma of any mirror of its focal length. Both parts of the secondary's coma are those of a decentre, taken apart.
fn secondary(pair: &TwoMirror, diameter_m: f64) -> ThirdOrder {
    let p = paraxial(pair);
    let (m, ratio) = (p.magnification, p.focal_length_m / diameter_m);
    let conic = pair.secondary_conic;
    let of_object = m * (m * m - 1.0) / (32.0 * ratio.powi(3));
    let ideal = (m + 1.0) / (m - 1.0);
    let of_footprint = -(m - 1.0).powi(3) * (conic + ideal * ideal) / (64.0 * ratio.powi(3));
    let primary = -diameter_m * m * m / (32.0 * ratio * ratio);
    let field_per_rad =
        primary + of_object * 0.5 * pair.primary_radius_m + of_footprint * pair.spacing_m;
    ThirdOrder {
        tilt_w131_m_per_rad: -(m * m - 1.0) * p.height_ratio * diameter_m / (32.0 * ratio * ratio),
        tilt_shift_m_per_rad: -2.0 * m * p.to_primary_focus_m,
        decentre_w131_m_per_m: (m - 1.0).powi(3) * (conic - ideal) / (64.0 * ratio.powi(3)),
        decentre_shift_m_per_m: -(m - 1.0),
        field_w131_m_per_m: field_per_rad / p.focal_length_m,
    }
}

/// A thin lens with the stop at it: W131 = y³θ/(4f²) · [(n+1) B/(n(n−1)) − (2n+1)/n], B its shape (R2 + R1)/(R2 − R1).
///
/// A tilt about its vertex is a field angle that leaves the image where it is, so that the coma at a place of the sensor moves
/// with the lens's own axis.
fn thin_lens(lens: &Lens, diameter_m: f64) -> ThirdOrder {
    let n = lens.index;
    let (front, back) = (1.0 / lens.front_radius_m, 1.0 / lens.back_radius_m);
    let focal_length_m = 1.0 / ((n - 1.0) * (front - back));
    let shape = (front + back) / (front - back);
    let height_m = 0.5 * diameter_m;
    let bracket = (n + 1.0) / (n * (n - 1.0)) * shape - (2.0 * n + 1.0) / n;
    let per_rad = height_m.powi(3) / (4.0 * focal_length_m * focal_length_m) * bracket;
    ThirdOrder {
        tilt_w131_m_per_rad: -per_rad,
        tilt_shift_m_per_rad: 0.0,
        decentre_w131_m_per_m: 0.0,
        decentre_shift_m_per_m: 1.0,
        field_w131_m_per_m: per_rad / focal_length_m,
    }
}

/// Where the axis of a telescope of one element meets the sensor, per radian that its unit is tilted about its vertex, at a fixed place
/// after pointing anew; moved aside, it goes along. `None` for two mirrors.
///
/// A paraboloid's axis turns with it and is met at its focus; seen from the sensor, a raised edge at +x turns the mirror's face, and its
/// axis, towards −x. A thin lens at its own stop turns under chief rays that stay: its axis meets the sensor at +f per radian.
pub fn axis_of_one_element(prescription: &Prescription) -> Option<f64> {
    match &prescription.optics {
        Optics::Paraboloid { focal_length_m } => Some(-focal_length_m),
        Optics::TwoMirror(_) => None,
        Optics::Lens(lens) => {
            let (front, back) = (1.0 / lens.front_radius_m, 1.0 / lens.back_radius_m);
            Some(1.0 / ((lens.index - 1.0) * (front - back)))
        }
    }
}
