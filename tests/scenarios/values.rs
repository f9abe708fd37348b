//! What is read: every key in SI units, and the documented defaults. Expected values are the typed ones, converted by hand.

use skewstar::instrument::{
    AssemblyKind, Colour, FocusLaw, MaskLayout, ObstructionShape, Passband,
};
use skewstar::scenario::Scenario;

use super::{SMALLEST, WHOLE, close, valid};

#[test]
fn a_whole_file_ends_up_in_si_units() {
    let Scenario {
        title,
        seed,
        instrument,
        state,
        ..
    } = valid(WHOLE, &[]);
    assert_eq!(
        (title.as_str(), seed),
        ("Every key of the format", Some(20417))
    );

    let telescope = &instrument.telescope;
    assert!(close(telescope.aperture_m, 0.190) && close(telescope.focal_length_m, 0.456));
    assert_eq!(
        (telescope.reflections, telescope.focus_law),
        (3, FocusLaw::Paraboloid)
    );
    let obstruction = telescope.obstruction.as_ref().expect("an obstruction");
    assert!(close(obstruction.diameter_m, 0.081) && close(obstruction.distance_m, 0.43));
    assert_eq!(obstruction.shape, ObstructionShape::Square);
    assert!(close(obstruction.offset_m[0], 0.4e-3) && close(obstruction.offset_m[1], -0.7e-3));
    let vane = &telescope.vanes[0];
    assert!(close(vane.azimuth_rad, 208_f64.to_radians()) && close(vane.width_m, 6e-3));
    assert!(
        close(vane.inner_radius_m, 40.5e-3)
            && close(vane.outer_radius_m, 93e-3)
            && close(vane.offset_m, -1.5e-3)
    );
    assert_eq!(telescope.vanes[1].inner_radius_m, 0.0);
    assert!(close(
        telescope.vanes[1].outer_radius_m,
        telescope.aperture_radius_m()
    ));
    assert!(close(telescope.design.get(11), 18e-9) && close(telescope.design.get(22), -2.5e-9));
    assert!(
        close(telescope.chromatic[0].wavelength_m, 480e-9)
            && close(telescope.chromatic[0].focus_m, 4e-6)
    );
    assert!(close(telescope.chromatic[0].modes.get(11), 12e-9));
    let field = &telescope.field;
    assert!(close(field.axis_m[0], 0.3e-3) && close(field.axis_m[1], -0.2e-3));
    assert!(close(field.coma_per_m, 9e-6) && close(field.astigmatism_per_m2, 1.1e-3));
    assert!(close(field.curvature_per_m2, 0.02));

    let assembly = instrument.assembly.as_ref().expect("an assembly");
    assert_eq!(assembly.kind, AssemblyKind::LockNut);
    assert!(
        close(assembly.screw_circle_radius_m, 55e-3) && close(assembly.pitch_m_per_turn, 0.5e-3)
    );
    assert!(
        close(assembly.travel_m.expect("a travel")[0], -0.35e-3)
            && close(assembly.backlash_turns, 0.02)
    );
    assert_eq!(assembly.screws[1].name, "B");
    assert!(close(assembly.screws[1].azimuth_rad, 210_f64.to_radians()));
    let response = assembly.response.as_ref().expect("a response");
    let arcmin = std::f64::consts::PI / 10800.0;
    assert!(close(response.coma_m_per_rad, 62e-9 / arcmin));
    assert!(close(
        response.astigmatism_m_per_rad2,
        0.4e-9 / (arcmin * arcmin)
    ));
    assert!(close(
        response.astigmatism_m_per_rad_m,
        0.1e-9 / (arcmin * 1e-3)
    ));
    assert!(close(response.image_shift_m_per_rad, 29e-6 / arcmin));
    assert!(close(response.focus_m_per_m, 1.0) && close(response.sensor_tilt_per_tilt, 1.0));

    assert!(close(state.sensor_offset_m, 330e-6) && close(state.field_m[1], -2e-3));
    assert!(!state.recentred && !state.mask_on);
    assert_eq!(state.place_px.xy(), [2.5, -1.0]);
    assert_eq!(*state.turns, [0.0, -0.1, 0.05]); // the order of the screws, not of the file
    assert!(close(state.modes.get(5), 12e-9) && close(state.modes.get(861), -0.5e-9));
    let star = state.star.as_ref().expect("a star");
    assert!(close(star.magnitude, 2.3) && close(star.temperature_k, 6200.0));
    assert!(close(star.altitude_rad, 57_f64.to_radians()));
    assert!(close(
        state.sky.seeing_rad.expect("seeing"),
        2.1 * arcmin / 60.0
    ));
    assert_eq!(state.sky.wind_m_per_s, Some(10.0));
    assert_eq!(state.sky.tracking_drift_px, [0.5, -0.25]);
    assert_eq!(
        state.exposure.as_ref().map(|exposure| exposure.time_s),
        Some(0.5)
    );
}

#[test]
fn mask_and_camera_of_a_whole_file_end_up_in_si_units() {
    let instrument = valid(WHOLE, &[]).instrument;
    let mask = instrument.mask.as_ref().expect("a mask");
    assert_eq!(mask.layout, MaskLayout::TWO_ZONE);
    assert!(close(mask.slot_pitch_m[0], 3.4e-3) && close(mask.slot_pitch_m[1], 3.0e-3));
    assert!(
        close(mask.slant_rad, 20_f64.to_radians())
            && mask.sense == -1.0
            && mask.open_fraction == 0.45
    );
    assert!(close(mask.outer_diameter_m, 0.188) && close(mask.inner_diameter_m, 0.084));
    assert!(
        close(mask.outer_rim_m, 4e-3) && close(mask.inner_rim_m, 3e-3) && close(mask.rib_m, 2e-3)
    );
    assert!(close(mask.zone_radius_m.expect("a border"), 71e-3) && close(mask.thickness_m, 2.4e-3));
    assert!(close(mask.rotation_rad, 5_f64.to_radians()) && close(mask.offset_m[1], -0.6e-3));
    assert!(close(mask.distance_m, 0.4));

    let camera = &instrument.camera;
    assert!(close(camera.pixel_m, 3.8e-6) && close(camera.rotation_rad, 12_f64.to_radians()));
    assert_eq!(
        (camera.width_px, camera.height_px, camera.mirrored),
        (160, 120, true)
    );
    assert_eq!((camera.wavelengths, camera.throughput), (Some(7), 0.7));
    let Passband::Table(points) = &camera.passband else {
        panic!("no table")
    };
    assert!(close(points[1].0, 550e-9) && points[1].1 == 0.9);
    let electronics = camera.electronics.as_ref().expect("electronics");
    assert_eq!(
        (electronics.quantum_efficiency, electronics.gain_e_per_adu),
        (0.8, 0.75)
    );
    assert_eq!(
        (
            electronics.bias_adu,
            electronics.read_noise_e,
            electronics.dark_e_per_s
        ),
        (500.0, 1.6, 0.01)
    );
    assert_eq!(
        (
            electronics.full_well_e,
            electronics.bits,
            electronics.pixel_response_rms
        ),
        (50000.0, 14, 0.01)
    );
    let colour = camera.colour.as_ref().expect("colours");
    assert_eq!(
        colour.pattern,
        [Colour::Green, Colour::Blue, Colour::Red, Colour::Green]
    );
    // what the red filter and the camera's own passband both let through
    let Passband::Table(red) = &colour.passbands[0] else {
        panic!("no table")
    };
    let ends = [red[0], red[red.len() - 1]];
    assert!(close(ends[0].0, 580e-9) && close(ends[0].1, 0.9 - 0.8 * 30.0 / 70.0));
    assert!(close(ends[1].0, 620e-9) && close(ends[1].1, 0.1));
}

#[test]
fn the_smallest_file_gets_the_documented_defaults() {
    let Scenario {
        seed,
        instrument,
        state,
        ..
    } = valid(SMALLEST, &[]);
    let telescope = &instrument.telescope;
    assert_eq!(
        (seed, telescope.reflections, telescope.focus_law),
        (None, 1, FocusLaw::Sine)
    );
    assert!(
        telescope.obstruction.is_none()
            && telescope.vanes.is_empty()
            && telescope.chromatic.is_empty()
    );
    assert!(instrument.assembly.is_none() && instrument.mask.is_none());
    let camera = &instrument.camera;
    assert!(
        camera.electronics.is_none() && camera.colour.is_none() && camera.wavelengths.is_none()
    );
    assert_eq!(
        (camera.throughput, camera.mirrored, camera.rotation_rad),
        (1.0, false, 0.0)
    );
    let Passband::Band(band) = camera.passband else {
        panic!("no band")
    };
    assert!(close(band[0], 500e-9) && close(band[1], 600e-9));
    assert_eq!(state, skewstar::state::State::default());
}

#[test]
fn defaults_that_depend_on_other_keys() {
    let mask = "[mask]\nlayout = \"one-triplet\"\nslot_pitch_mm = 3\nopen_fraction = 0.5\nslant_deg = 20\n\
                outer_diameter_mm = 188\ninner_diameter_mm = 0\nthickness_mm = 2\n";
    let masked = valid(&format!("{SMALLEST}{mask}"), &[]);
    assert!(masked.state.mask_on);
    assert!(
        !valid(&format!("{SMALLEST}{mask}"), &["state.mask_on=false"])
            .state
            .mask_on
    );
    assert!(
        valid(SMALLEST, &["star.magnitude=2", "star.temperature_k=6000"])
            .state
            .star
            .is_some_and(|star| close(star.altitude_rad, 90_f64.to_radians()))
    );
    assert!(
        valid(SMALLEST, &["telescope.obstruction.diameter_mm=0"])
            .instrument
            .telescope
            .obstruction
            .is_none()
    );
    assert!(
        valid(SMALLEST, &["sky.seeing_arcsec=0"])
            .state
            .sky
            .seeing_rad
            .is_none()
    );
    let assembly = "assembly={ screw_circle_radius_mm = 55, pitch_mm_per_turn = 0.5, screws = [{ name = \"A\", azimuth_deg = 0 }, \
                    { name = \"B\", azimuth_deg = 120 }, { name = \"C\", azimuth_deg = 240 }] }";
    let held = valid(SMALLEST, &[assembly]);
    assert_eq!(*held.state.turns, [0.0; 3]);
    assert_eq!(
        held.instrument
            .assembly
            .map(|assembly| (assembly.response, assembly.travel_m)),
        Some((None, None))
    );
}

#[test]
fn whole_numbers_stand_for_numbers_with_a_point() {
    let whole = valid(
        WHOLE,
        &[
            "mask.slot_pitch_mm=[4, 3]",
            "telescope.aperture_mm=190",
            "state.turns.B=0",
        ],
    );
    let point = valid(
        WHOLE,
        &[
            "mask.slot_pitch_mm=[4.0, 3.0]",
            "telescope.aperture_mm=190.0",
            "state.turns.B=0.0",
        ],
    );
    assert_eq!(
        (whole.instrument, whole.state),
        (point.instrument, point.state)
    );
}

#[test]
fn a_colour_camera_without_an_overall_passband_spans_its_filters() {
    let filters = "camera.passbands={ red = { passband_nm = [580, 680] }, green = { passband_nm = [490, 580] }, blue = { passband_table = \
                   [{ nm = 400, transmission = 0.5 }, { nm = 490, transmission = 0.5 }] } }";
    let camera = valid(SMALLEST, &["camera.colour_pattern=\"RGGB\"", filters])
        .instrument
        .camera;
    let Passband::Band(band) = camera.passband else {
        panic!("no band")
    };
    assert!(close(band[0], 400e-9) && close(band[1], 680e-9));
}

#[test]
fn lists_of_holes_and_regions_are_read() {
    let plate = "[mask]\nouter_diameter_mm = 188\ninner_diameter_mm = 84\nthickness_mm = 2\n";
    let holes = format!(
        "{SMALLEST}{plate}layout = \"holes\"\nholes = [{{ radius_mm = 70, azimuth_deg = 90, diameter_mm = 20 }}]\n"
    );
    let Some(MaskLayout::Holes(holes)) = valid(&holes, &[]).instrument.mask.map(|mask| mask.layout)
    else {
        panic!("no holes")
    };
    assert!(
        close(holes[0].radius_m, 0.07)
            && close(holes[0].diameter_m, 0.02)
            && close(holes[0].azimuth_rad, 90_f64.to_radians())
    );
    let regions = format!(
        "{SMALLEST}{plate}layout = \"regions\"\nregions = [{{ azimuth_deg = [330, 390], radius_mm = [45, 90], slot_deg = 10, \
         pitch_mm = 3.4, open_fraction = 0.4 }}]\n"
    );
    let Some(MaskLayout::Regions(regions)) =
        valid(&regions, &[]).instrument.mask.map(|mask| mask.layout)
    else {
        panic!("no regions")
    };
    assert!(
        close(regions[0].azimuth_rad[1], 390_f64.to_radians())
            && close(regions[0].radius_m[0], 0.045)
    );
    assert!(
        close(regions[0].slot_rad, 10_f64.to_radians())
            && close(regions[0].pitch_m, 3.4e-3)
            && regions[0].open_fraction == 0.4
    );
}
