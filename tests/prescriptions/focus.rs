//! Where the light of a traced telescope comes together: on the axis, beside it, with its unit tilted; and what cannot be traced.

use super::{close, folded, lens, paraboloid};
use skewstar::axes::FieldM;
use skewstar::instrument::{Assembly, Camera, Instrument, Passband, Telescope};
use skewstar::mechanics::fits::SystemError;
use skewstar::mechanics::prescription::{
    Displacement, Optics, Prescription, PrescriptionError, respond, star_at_place,
};
use skewstar::mechanics::{Plane, align, turns_for};
use skewstar::state::State;
use skewstar::units::{ARCMIN, MM, NM, UM};

/// Third order: a thin lens that holds its own stop has a medial surface of curvature (2 + 1/n)/f towards itself (W. T. Welford,
/// Aberrations of Optical Systems, from memory: Petzval 1/(n f), astigmatism of a stop at the lens). Tilted by t it carries that
/// surface round with it while its chief rays stay: at h best focus comes nearer by t·h for the turn and farther by (2 + 1/n)·t·h for
/// the field angle; the sensor, on which nothing moves, is left with −(1 + 1/n)·t·h. Lifted, the lens takes its focus along.
#[test]
fn a_tilted_thin_lens_tilts_its_focal_plane_as_third_order_says() {
    for (front_m, back_m) in [(0.9, -2.3), (0.5, 4.1)] {
        let response = respond(&lens(front_m, back_m, 0.016))
            .expect("a telescope")
            .response;
        close("focus per lift", response.focus_m_per_m, 1.0, 1e-3);
        let wanted = -(1.0 + 1.0 / 1.53);
        let found = response.sensor_tilt_per_tilt;
        close("tilt of the focal plane per tilt", found, wanted, 5e-3);
    }
}

/// What `align` makes of the traced numbers is where the traced rays come together: a star beside the axis of a telescope whose unit
/// is tilted, for units whose lift sets the sensor farther out (a lens) and farther in (a secondary), what the tilt does on the axis
/// included. A primary that holds its own stop would show nothing: its focal plane stays.
#[test]
fn the_sensor_offset_of_a_tilted_unit_is_where_the_rays_come_together() {
    for (name, telescope) in [
        ("lens", lens(0.9, -2.3, 0.08)),
        ("secondary", folded(0.0)),
        ("secondary on a cell", folded(0.03)),
    ] {
        let derived = respond(&telescope).expect("a telescope");
        let (_, focus_z_m) = telescope.paraxial().expect("a focus");
        let beyond_m = |tilt_rad: f64, place_m: f64| {
            let tilted = Displacement {
                tilt_rad,
                ..Displacement::default()
            };
            let star = star_at_place(&telescope, &tilted, place_m).expect("it can be traced");
            telescope.onward() * (star.centre_m[2] - focus_z_m)
        };
        let mut assembly = Assembly::new(0.06, 5e-4, [("A", 0.0), ("B", 2.1), ("C", 4.2)]);
        assembly.response = Some(derived.response.clone());
        let mut of_traced = Telescope::new(telescope.aperture_m, derived.focal_length_m);
        of_traced.field = derived.field.clone();
        let camera = Camera::new(4.0 * UM, [64, 48], Passband::Band([500.0 * NM, 600.0 * NM]));
        let (tilt_rad, place_m) = (1.3 * ARCMIN, 2.7 * MM);
        for (tilt_rad, place_m) in [(tilt_rad, place_m), (-tilt_rad, place_m)] {
            let plane = Plane {
                piston_m: 0.0,
                tilt_rad: [tilt_rad, 0.0],
            };
            let state = State {
                turns: turns_for(&assembly, &plane),
                field_m: FieldM::new([place_m, 0.0]),
                ..State::default()
            };
            let instrument = Instrument {
                assembly: Some(assembly.clone()),
                ..Instrument::new(of_traced.clone(), camera.clone())
            };
            let offset_m = align(&instrument, &state).sensor_offset_m;
            let traced_m = beyond_m(0.0, 0.0) - beyond_m(tilt_rad, place_m);
            let of_tilt_m = offset_m - derived.field.curvature_per_m2 * place_m * place_m;
            println!(
                "{name}: {:.4} um by align, of which {:.4} by the tilt; traced {:.4}",
                offset_m / UM,
                of_tilt_m / UM,
                traced_m / UM
            );
            assert!(of_tilt_m.abs() > 0.3 * UM, "{name}: the case shows nothing");
            // what is left is of third order and more in tilt and place together
            assert!((offset_m - traced_m).abs() < 0.02 * UM, "{name}");
        }
    }
}

/// Every ray of a paraboloid meets its focus, one beside the axis too: even at f/0.025, where "beside" is 2e-4 of the focal length.
#[test]
fn the_paraxial_focus_of_a_paraboloid_is_its_focus_to_the_last_digits() {
    let bowl = Prescription {
        optics: Optics::Paraboloid {
            focal_length_m: 0.05,
        },
        aperture_m: 2.0,
        ..paraboloid()
    };
    let (_, focus_z_m) = bowl.paraxial().expect("a focus");
    close("focus", focus_z_m, -0.05, 1e-12);
}

/// A lens 1 mm thick whose faces, radii of 100 mm, have come together 10 mm from the axis: both are named, the first in the light first.
#[test]
fn faces_that_cross_are_named_in_their_order() {
    let mut thick = lens(0.1, -0.1, 0.08);
    let Optics::Lens(faces) = &mut thick.optics else {
        panic!("a lens")
    };
    faces.thickness_m = 1.0 * MM;
    assert_eq!(
        thick.check(),
        Err(PrescriptionError::System(SystemError::Cross(
            "lens's front face".into(),
            "lens's back face".into()
        )))
    );
}
