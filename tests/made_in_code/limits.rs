//! Values at a limit pass, whatever roundings led to them, and what the reader itself works out may be larger.

use super::masks::{lay, region};
use super::refusals::{assembly, mask};
use super::{valid, whole};
use skewstar::axes::FieldM;
use skewstar::instrument::*;
use skewstar::scenario::{check_parts, write};
use skewstar::state::{ScrewTurns, State};
use skewstar::units::{MM, UM};

/// What the reader sums up may be larger than anybody may type; a file then has no room for it, and `write` says so.
#[test]
fn a_sum_may_be_larger_than_what_is_typed() {
    let scenario = valid(
        "format = 1\ntitle = \"far out\"\n[telescope]\naperture_mm = 150\nfocal_length_mm = 900\n[camera]\npixel_um = 3\n\
         width_px = 60\nheight_px = 60\npassband_nm = [500, 600]\n[state.seidel_waves]\n\
         reference_wavelength_nm = 2500.0\ndefocus = 900\n",
    );
    let largest = scenario.state.modes.get(4);
    assert!(largest > 1e-4, "{largest}");
    assert_eq!(check_parts(&scenario.instrument, &scenario.state), Ok(()));
    let refused = write("far out", None, &scenario.instrument, &scenario.state);
    let error = refused.expect_err("more than a file may hold");
    assert_eq!(error.key(), Some("state.modes_nm.4"));
}

/// A limit that is reached by another sum of roundings is still the limit.
#[test]
fn a_value_at_a_limit_passes() {
    let (base, base_state) = whole();
    for step in 0..400 {
        let (mut instrument, mut state) = (base.clone(), base_state.clone());
        let aperture_m = 0.19 + f64::from(step) * 1.37e-5;
        let telescope = &mut instrument.telescope;
        telescope.aperture_m = aperture_m;
        telescope.focal_length_m = match step % 3 {
            0 => 0.8 * aperture_m,
            1 => 100.0 * aperture_m,
            _ => 3.0 * aperture_m / 0.7,
        };
        let focal_length_m = telescope.focal_length_m;
        let azimuth = f64::from(step);
        let farthest_m = 0.2 * focal_length_m;
        state.field_m = FieldM::new([farthest_m * azimuth.cos(), farthest_m * azimuth.sin()]);
        telescope.field.axis_m = -state.field_m;
        state.aside_m = state.field_m;
        state.sensor_offset_m = 0.1 * focal_length_m;
        telescope.vanes[0].azimuth_rad = -2.0 * std::f64::consts::PI;
        instrument.camera.rotation_rad = std::f64::consts::TAU;
        let unit = assembly(&mut instrument);
        unit.pitch_m_per_turn = 0.4e-3 + f64::from(step) * 1.1e-7;
        let most = 0.35e-3 / unit.pitch_m_per_turn;
        state.turns = ScrewTurns::of(unit, [most, 0.0, -most]).expect("three");
        if let Some(star) = &mut state.star {
            star.altitude_rad = std::f64::consts::FRAC_PI_2;
        }
        let plate = mask(&mut instrument);
        plate.outer_diameter_m = aperture_m;
        let from = azimuth * 0.01;
        match step % 2 {
            0 => plate.slot_pitch_m = vec![0.5 * aperture_m, 3.0 * MM],
            _ => {
                let whole_turn = RegionSpec {
                    azimuth_rad: [from, from + std::f64::consts::TAU],
                    radius_m: [0.5 * plate.inner_diameter_m, 0.5 * aperture_m],
                    ..region([0.0, 1.0], [1.0, 2.0])
                };
                lay(&mut instrument, MaskLayout::Regions(vec![whole_turn]));
            }
        }
        let checked = check_parts(&instrument, &state);
        assert_eq!(checked, Ok(()), "step {step}");
        // Just beyond it, it is refused.
        state.sensor_offset_m *= 1.0 + 1e-9;
        let error = check_parts(&instrument, &state).expect_err("more than a tenth");
        assert_eq!(error.key(), Some("state.sensor_offset_um"));
    }
    let mut camera = Camera::new(0.1 * UM, [1, 16384], Passband::Band([2e-7, 2.5e-6]));
    camera.wavelengths = Some(200);
    let instrument = Instrument::new(Telescope::new(1e-3, 0.1), camera);
    assert_eq!(check_parts(&instrument, &State::default()), Ok(()));
}
