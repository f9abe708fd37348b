//! Every rule of `src/scenario/validate`, broken by an instrument or a state that was made in code; and what such values can
//! break that no file can.
//!
//! Only a file can break the others: unknown and missing keys, wrong types, keys that exclude each other or belong to another
//! layout or kind of telescope, surfaces that make none, annular modes, the stars of `[field]`, turns of unknown screws.

use super::{turns, valid, whole};
use skewstar::axes::FieldM;
use skewstar::instrument::*;
use skewstar::scenario::check_parts;
use skewstar::state::{Exposure, Modes, ScrewTurns, Star, State};
use skewstar::units::{ARCMIN, ARCSEC, DEG, MM, NM, UM};

/// What breaks the rule, and the whole sentence that says so.
type Broken = (fn(&mut Instrument, &mut State), &'static str);

/// Breaks what has every section; the sentence must be told, with a hint, and without any place in a file.
fn each(table: &[Broken]) {
    for (change, sentence) in table {
        let (mut instrument, mut state) = whole();
        change(&mut instrument, &mut state);
        let error = check_parts(&instrument, &state).expect_err(sentence);
        assert_eq!(error.to_string(), *sentence);
        assert!(!error.hint().is_empty(), "{sentence}");
        assert_eq!((error.line(), error.label.as_str()), (None, ""));
    }
}

fn mask(instrument: &mut Instrument) -> &mut MaskDesign {
    instrument.mask.as_mut().expect("a mask")
}

fn assembly(instrument: &mut Instrument) -> &mut Assembly {
    instrument.assembly.as_mut().expect("an assembly")
}

fn electronics(instrument: &mut Instrument) -> &mut Electronics {
    let electronics = instrument.camera.electronics.as_mut();
    electronics.expect("a camera that counts")
}

fn filter(instrument: &mut Instrument, index: usize) -> &mut Passband {
    let colour = instrument.camera.colour.as_mut().expect("a colour camera");
    &mut colour.passbands[index]
}

#[test]
fn the_whole_scenario_is_sound() {
    let (instrument, state) = whole();
    assert_eq!(check_parts(&instrument, &state), Ok(()));
    // Without turns every screw has its nominal length.
    let untouched = State {
        turns: ScrewTurns::default(),
        ..state
    };
    assert_eq!(check_parts(&instrument, &untouched), Ok(()));
}

#[test]
fn telescope() {
    each(&[
        (
            |i, _| i.telescope.aperture_m = f64::NAN,
            "telescope.aperture_mm is nan, but must be a number from 1 to 20000",
        ),
        (
            |i, _| i.telescope.aperture_m = f64::INFINITY,
            "telescope.aperture_mm is inf, but must be a number from 1 to 20000",
        ),
        (
            |i, _| i.telescope.focal_length_m = 0.1,
            "telescope.focal_length_mm is 100, but must be from 152 to 19000 (focal ratio 0.8 to 100 with focus_law \
             \"paraboloid\")",
        ),
        (
            |i, _| i.telescope.reflections = 21,
            "telescope.reflections is 21, but must be a whole number from 0 to 20",
        ),
        (
            |i, _| i.telescope.obstruction = Some(Obstruction::disc(-40.0 * MM)),
            "telescope.obstruction.diameter_mm is -40, but must be a number from 0 to 20000",
        ),
        (
            |i, _| i.telescope.obstruction = Some(Obstruction::disc(200.0 * MM)),
            "telescope.obstruction.diameter_mm is 200, but must be smaller than telescope.aperture_mm (190)",
        ),
        (
            |i, _| i.telescope.obstruction.as_mut().expect("one").offset_m = [0.06, -0.08],
            "telescope.obstruction.offset_mm is [60, -80], but must be less than the radius of the aperture (95 mm) from \
             the centre",
        ),
        (
            |i, _| i.telescope.vanes[1].width_m = 0.19,
            "telescope.vanes[1].width_mm is 190, but must be smaller than telescope.aperture_mm (190)",
        ),
        (
            |i, _| i.telescope.vanes[1].width_m = 0.0,
            "telescope.vanes[1].width_mm is 0, but must be a number more than 0 and at most 1000",
        ),
        (
            |i, _| i.telescope.vanes[0].inner_radius_m = 0.094,
            "telescope.vanes[0].inner_radius_mm is 94, but must be smaller than its outer_radius_mm (93)",
        ),
        (
            |i, _| i.telescope.vanes[0].offset_m = -0.1,
            "telescope.vanes[0].offset_mm is -100, but must be smaller than the radius of the aperture (95 mm), either way",
        ),
        (
            |i, _| i.telescope.vanes = vec![i.telescope.vanes[0].clone(); 65],
            "telescope.vanes is a list of 65 values, but must be a list of 0 to 64 tables",
        ),
        (
            |i, _| i.telescope.chromatic[1].wavelength_m = 480.0 * NM,
            "telescope.chromatic[1].wavelength_nm is 480, but must be more than the point before it (480)",
        ),
        (
            |i, _| i.telescope.field.axis_m = FieldM::new([0.0, 0.1]),
            "telescope.field.axis_mm is [0, 100], but must be at most 91.2 mm from the centre, a fifth of the focal length",
        ),
        (
            |i, _| {
                i.telescope
                    .field
                    .vignetting
                    .as_mut()
                    .expect("one")
                    .diameter_m = 0.0
            },
            "telescope.vignetting.diameter_mm is 0, but must be a number more than 0 and at most 40000",
        ),
        (
            |i, _| i.telescope.design = [(862, 1e-8)].into_iter().collect(),
            "telescope.design_nm has the key 862, but its keys must be Noll indices from 2 to 861 in plain digits",
        ),
    ]);
}

#[test]
fn assembly_and_turns() {
    each(&[
        (
            |i, _| assembly(i).travel_m = Some([0.1 * MM, 0.2 * MM]),
            "assembly.travel_mm is [0.1, 0.2], but must be two lengths, the first at most 0, the second at least 0, not \
             both 0",
        ),
        (
            |i, _| assembly(i).pitch_m_per_turn = 0.0,
            "assembly.pitch_mm_per_turn is 0, but must be a number more than 0 and at most 20",
        ),
        (
            |i, _| assembly(i).screws[1].name = "two words".into(),
            "assembly.screws[1].name is \"two words\", but must be made of letters, digits, hyphens and underscores",
        ),
        (
            |i, _| assembly(i).screws[1].name.clear(),
            "assembly.screws[1].name is \"\", but must be text in quotes of 1 to 16 characters",
        ),
        (
            |i, _| assembly(i).screws[2].name = "A".into(),
            "assembly.screws[2].name is \"A\", but must be different from the names of the other screws",
        ),
        (
            |i, _| assembly(i).screws[2].azimuth_rad = -270.5 * DEG,
            "assembly.screws is a list of 3 screws at 2 different azimuths, but must be a list with 3 different azimuths at \
             least, 1 degree or more apart",
        ),
        (
            |i, s| {
                assembly(i).screws.truncate(2);
                s.turns = turns(&[0.0, -0.1]);
            },
            "assembly.screws is a list of 2 values, but must be a list of 3 to 24 tables",
        ),
        (
            |i, _| assembly(i).response.as_mut().expect("one").coma_m_per_rad = f64::NAN,
            "assembly.response.coma_nm_per_arcmin is nan, but must be a number from -1000000000 to 1000000000",
        ),
        (
            |_, s| s.turns = turns(&[0.0, 0.1, 0.0, 0.0, 0.2]),
            "state.turns is a list of 5 values, but must be a list of 3 values, one for each of assembly.screws, or of none",
        ),
        (
            |_, s| s.turns = turns(&[0.1]),
            "state.turns is a list of 1 value, but must be a list of 3 values, one for each of assembly.screws, or of none",
        ),
        (
            |_, s| s.turns[1] = f64::NAN,
            "state.turns.B is nan, but must be a number from -1000 to 1000",
        ),
        (
            |_, s| s.turns[1] = 0.8,
            "state.turns.B is 0.8, but must be from -0.7 to 0.7 turns, since assembly.travel_mm is [-0.35, 0.35]",
        ),
        (
            |i, s| {
                assembly(i).response = None;
                s.flexure_rad = [0.0; 2];
            },
            "state.turns.B is -0.1, but must be 0 where there is neither [assembly.response] nor [assembly.prescription]",
        ),
        (
            |i, s| {
                i.assembly = None;
                s.flexure_rad = [0.0; 2];
            },
            "state.turns is given, but must be left out where there is no [assembly]",
        ),
        (
            |i, s| {
                assembly(i).response = None;
                s.turns = ScrewTurns::default();
            },
            "state.flexure_arcmin is given, but must be left out where there is no [assembly.response]",
        ),
        (
            |_, s| s.flexure_rad[1] = f64::NAN,
            "state.flexure_arcmin[1] is nan, but must be a number from -1200 to 1200",
        ),
        (
            |_, s| s.flexure_rad[0] = 1300.0 * ARCMIN,
            "state.flexure_arcmin[0] is 1300, but must be a number from -1200 to 1200",
        ),
    ]);
}

#[test]
fn mask_plate_and_slots() {
    each(&[
        (
            |i, _| mask(i).open_fraction = 1.7,
            "mask.open_fraction is 1.7, but must be a number from 0.05 to 0.95",
        ),
        (
            |i, _| mask(i).slot_pitch_m.clear(),
            "mask.slot_pitch_mm is a list of 0 values, but must be a list of 2 numbers, each from 0.1 to 1000",
        ),
        (
            |i, _| mask(i).slot_pitch_m.push(0.003),
            "mask.slot_pitch_mm is a list of 3 values, but must be a list of 2 numbers, each from 0.1 to 1000",
        ),
        (
            |i, _| mask(i).slot_pitch_m[1] = 0.095,
            "mask.slot_pitch_mm is 95, but must be at most the radius of the plate (94 mm)",
        ),
        (
            |i, _| {
                mask(i).layout = MaskLayout::ONE_TRIPLET;
                mask(i).zone_radius_m = None;
            },
            "mask.slot_pitch_mm is [3.4, 3], but must be one number, since the layout \"one-triplet\" has one pitch",
        ),
        (
            |i, _| {
                mask(i).layout = MaskLayout::ONE_TRIPLET;
                mask(i).slot_pitch_m.truncate(1);
            },
            "mask.zone_radius_mm is given, but must be left out with layout \"one-triplet\"",
        ),
        (
            |i, _| mask(i).zone_radius_m = None,
            "mask.zone_radius_mm is missing, but needed since mask.layout is \"two-zone\"",
        ),
        (
            |i, _| mask(i).zone_radius_m = Some(0.091),
            "mask.zone_radius_mm is 91, but must be between the rims, more than 45 and less than 90",
        ),
        (
            |i, _| mask(i).sense = 0.5,
            "mask.sense is 0.5, but must be -1 or 1",
        ),
        (
            |i, _| mask(i).sense = 0.0,
            "mask.sense is 0, but must be -1 or 1",
        ),
        (
            |i, _| mask(i).inner_diameter_m = 0.188,
            "mask.inner_diameter_mm is 188, but must be smaller than mask.outer_diameter_mm (188)",
        ),
        (
            |i, _| mask(i).outer_rim_m = 0.052,
            "mask.outer_rim_mm is 52, but must be smaller than the plate from hole to edge (52 mm)",
        ),
        (
            |i, _| mask(i).inner_rim_m = 0.049,
            "mask.inner_rim_mm is 49, but must be smaller than what mask.outer_rim_mm leaves (48 mm)",
        ),
        (
            |i, _| mask(i).rib_m = 0.094,
            "mask.rib_mm is 94, but must be smaller than the radius of the plate (94 mm)",
        ),
        (
            |i, _| mask(i).offset_m = [0.0, 0.095],
            "mask.offset_mm is [0, 95], but must be less than the radius of the aperture (95 mm) from the centre",
        ),
        (
            |i, _| mask(i).printer.engraving_m = 2.4 * MM,
            "mask.print.engraving_mm is 2.4, but must be smaller than mask.thickness_mm (2.4)",
        ),
        (
            |i, _| {
                let grip = mask(i).grip.as_mut().expect("a ring");
                (grip.seat, grip.tube_diameter_m, grip.notch) = (Seat::IntoTube, 5.0 * MM, None);
            },
            "mask.grip.wall_mm is 2.1, but must be smaller than the tube's radius less the clearance (1.9)",
        ),
        (
            |i, _| mask(i).grip.as_mut().expect("a ring").notch = Some((0.0, 0.204)),
            "mask.grip.notch_width_mm is 204, but must be smaller than mask.grip.tube_diameter_mm (204)",
        ),
        (
            |i, s| {
                i.mask = None;
                s.mask_on = true;
            },
            "state.mask_on is true, but must be false where there is no [mask]",
        ),
    ]);
}

/// Puts another layout on, without zones.
fn lay(instrument: &mut Instrument, layout: MaskLayout) {
    mask(instrument).layout = layout;
    mask(instrument).zone_radius_m = None;
}

fn hole(radius_mm: f64, diameter_mm: f64) -> HoleSpec {
    HoleSpec {
        radius_m: radius_mm * MM,
        azimuth_rad: 0.3,
        diameter_m: diameter_mm * MM,
    }
}

fn region(azimuth_deg: [f64; 2], radius_mm: [f64; 2]) -> RegionSpec {
    RegionSpec {
        azimuth_rad: azimuth_deg.map(|deg| deg * DEG),
        radius_m: radius_mm.map(|mm| mm * MM),
        slot_rad: 0.4,
        pitch_m: 4.0 * MM,
        open_fraction: 0.5,
    }
}

fn drawing(openings_m: Vec<Vec<[f64; 2]>>) -> MaskLayout {
    MaskLayout::Drawing(Drawing {
        file: "petals.svg".into(),
        openings_m,
        ..Drawing::default()
    })
}

#[test]
fn mask_layouts_of_ones_own() {
    each(&[
        (
            |i, _| lay(i, MaskLayout::Holes(Vec::new())),
            "mask.holes is a list of 0 values, but must be a list of 1 to 1000 tables",
        ),
        (
            |i, _| lay(i, MaskLayout::Holes(vec![hole(60.0, 9.0), hole(88.0, 9.0)])),
            "mask.holes[1].diameter_mm is 9, but must be small enough to lie between the rims, 45 to 90 mm from the centre",
        ),
        (
            |i, _| lay(i, MaskLayout::Regions(Vec::new())),
            "mask.regions is a list of 0 values, but must be a list of 1 to 200 tables",
        ),
        (
            |i, _| {
                lay(
                    i,
                    MaskLayout::Regions(vec![region([90.0, 30.0], [50.0, 80.0])]),
                )
            },
            "mask.regions[0].azimuth_deg is [90, 30], but must be two ascending azimuths at most 360 degrees apart",
        ),
        (
            |i, _| {
                lay(
                    i,
                    MaskLayout::Regions(vec![region([0.0, 30.0], [50.0, 95.0])]),
                )
            },
            "mask.regions[0].radius_mm is [50, 95], but must be two ascending radii on the plate, 42 to 94",
        ),
        (
            |i, _| lay(i, drawing(Vec::new())),
            "mask.drawing names \"petals.svg\", but that file has not been read",
        ),
        (
            |i, _| {
                lay(
                    i,
                    drawing(vec![vec![[0.05, 0.0], [0.06, 0.0], [0.05, f64::NAN]]]),
                )
            },
            "mask.drawing.openings_mm[0] is a shape of 3 corners, but must be a convex polygon on the plate, its corners \
             counter-clockwise",
        ),
        (
            |i, _| {
                lay(
                    i,
                    drawing(vec![vec![[0.05, 0.0], [0.1, 0.0], [0.05, 0.01]]]),
                )
            },
            "mask.drawing.openings_mm[0] is a shape of 3 corners, but must be a convex polygon on the plate, its corners \
             counter-clockwise",
        ),
        (
            |i, _| {
                lay(i, MaskLayout::Holes(vec![hole(60.0, 9.0)]));
                mask(i).open_fraction = f64::NAN;
            },
            "mask.open_fraction is nan, but must be a number from 0.05 to 0.95",
        ),
    ]);
}

/// A mask as `read` hands it out has no openings yet, and the hint says how they come to be read.
#[test]
fn a_drawing_that_was_not_read_is_refused() {
    let mut scenario = valid(
        "format = 1\ntitle = \"drawing\"\n[telescope]\naperture_mm = 190\nfocal_length_mm = 456\n[camera]\npixel_um = 3\n\
         width_px = 60\nheight_px = 60\n[mask]\nlayout = \"drawing\"\ndrawing = \"petals.svg\"\nouter_diameter_mm = 188\n\
         inner_diameter_mm = 84\nthickness_mm = 2\n",
    );
    let error = check_parts(&scenario.instrument, &scenario.state).expect_err("nothing was read");
    assert_eq!(error.key(), Some("mask.drawing"));
    assert!(
        error.hint().contains("skewstar::files::scenario"),
        "{}",
        error.hint()
    );
    let square = [[0.05, 0.0], [0.06, 0.0], [0.06, 0.01], [0.05, 0.01]];
    if let MaskLayout::Drawing(drawing) = &mut mask(&mut scenario.instrument).layout {
        drawing.openings_m.push(square.to_vec());
    }
    assert_eq!(check_parts(&scenario.instrument, &scenario.state), Ok(()));
}

/// What a constructor sets and the layout does not look at is no reason to refuse.
#[test]
fn slots_that_the_layout_does_not_have_are_not_looked_at() {
    let (mut instrument, state) = whole();
    let layout = MaskLayout::Holes(vec![hole(60.0, 9.0)]);
    let design = MaskDesign::new(layout, 0.0, 84.0 * MM, 188.0 * MM);
    assert_eq!((design.slot_pitch_m.len(), design.open_fraction), (1, 0.5));
    instrument.mask = Some(design);
    assert_eq!(check_parts(&instrument, &state), Ok(()));
}

#[test]
fn camera() {
    each(&[
        (
            |i, _| (i.camera.width_px, i.camera.height_px) = (0, 0),
            "camera.height_px is 0, but must be a whole number from 1 to 16384",
        ),
        (
            |i, _| i.camera.width_px = usize::MAX,
            "camera.width_px is 18446744073709551615, but must be a whole number from 1 to 16384",
        ),
        (
            |i, _| (i.camera.width_px, i.camera.height_px) = (16000, 16000),
            "camera.height_px is 16000, but must be at most 2500 for camera.width_px 16000 (40 million pixels)",
        ),
        (
            |i, _| i.camera.wavelengths = Some(0),
            "camera.wavelengths is 0, but must be a whole number from 1 to 200",
        ),
        (
            |i, _| i.camera.throughput = 1.1,
            "camera.throughput is 1.1, but must be a number more than 0 and at most 1",
        ),
        (
            |i, _| i.camera.passband = Passband::Table(Vec::new()),
            "camera.passband_table is a list of 0 values, but must be a list of 2 to 5000 tables",
        ),
        (
            |i, _| i.camera.passband = Passband::Table(vec![(500.0 * NM, 0.0), (600.0 * NM, 0.0)]),
            "camera.passband_table is a list without any light, but must be a list with at least one transmission above 0",
        ),
        (
            |i, _| i.camera.passband = Passband::Table(vec![(600.0 * NM, 0.2), (500.0 * NM, 0.2)]),
            "camera.passband_table[1].nm is 500, but must be more than the point before it (600)",
        ),
        (
            |i, _| i.camera.passband = Passband::Band([620.0 * NM, 480.0 * NM]),
            "camera.passband_nm is [620, 480], but must be two ascending wavelengths, the shorter one first",
        ),
        (
            |i, _| i.camera.colour.as_mut().expect("colours").pattern = [Colour::Green; 4],
            "camera.colour_pattern is \"GGGG\", but must be one R, two G and one B in any order",
        ),
        (
            |i, _| *filter(i, 2) = Passband::Table(Vec::new()),
            "camera.passbands.blue.passband_table is a list of 0 values, but must be a list of at least 2 tables",
        ),
        (
            |i, _| *filter(i, 0) = Passband::Band([700.0 * NM, 780.0 * NM]),
            "camera.passbands.red.passband_nm is [700, 780], but must be a part of what the camera's own passband lets \
             through (480 to 620 nm)",
        ),
        (
            |i, _| i.camera.electronics = None,
            "camera.gain_e_per_adu is missing, but needed since [star] and [exposure] together ask for a frame in counts",
        ),
        (
            |i, _| electronics(i).bias_adu = 16383.0,
            "camera.bias_adu is 16383, but must be less than the largest count of 14 bits (16383)",
        ),
        (
            |i, _| electronics(i).bits = 17,
            "camera.bits is 17, but must be a whole number from 1 to 16",
        ),
        (
            |i, _| electronics(i).full_well_e = f64::NEG_INFINITY,
            "camera.full_well_e is -inf, but must be a number from 1 to 1000000000",
        ),
    ]);
}

#[test]
fn state() {
    each(&[
        (
            |_, s| s.sensor_offset_m = -46.0 * MM,
            "state.sensor_offset_um is -46000, but must be from -45600 to 45600 (a tenth of the focal length)",
        ),
        (
            |_, s| s.field_m = FieldM::new([92.0 * MM, 0.0]),
            "state.field_mm is [92, 0], but must be at most 91.2 mm from the centre, a fifth of the focal length",
        ),
        (
            |_, s| s.aside_m = FieldM::new([0.0, -92.0 * MM]),
            "state.aside_mm is [0, -92], but must be at most 91.2 mm from the centre, a fifth of the focal length",
        ),
        (
            |_, s| s.place_px[1] = 2e4,
            "state.place_px[1] is 20000, but must be a number from -10000 to 10000",
        ),
        (
            |_, s| s.aside_m[0] = f64::NAN,
            "state.aside_mm[0] is nan, but must be a number from -100000 to 100000",
        ),
        (
            |_, s| s.modes = [(4, f64::INFINITY)].into_iter().collect(),
            "state.modes_nm.4 is inf, but must be a number from -1000000000 to 1000000000",
        ),
        (
            |_, s| s.modes = [(0, 1e-8)].into_iter().collect::<Modes>(),
            "state.modes_nm has the key 0, but its keys must be Noll indices from 2 to 861 in plain digits",
        ),
        (
            |_, s| s.exposure = Some(Exposure { time_s: -0.5 }),
            "exposure.time_s is -0.5, but must be a number more than 0 and at most 86400",
        ),
        (
            |_, s| s.sky.seeing_rad = Some(-2.0 * ARCSEC),
            "sky.seeing_arcsec is -2, but must be a number from 0 to 60",
        ),
        (
            |_, s| s.sky.wind_m_per_s = Some(-1.0),
            "sky.wind_m_per_s is -1, but must be a number from 0 to 200",
        ),
        (
            |_, s| s.sky.tracking_drift_px[1] = 2e4,
            "sky.tracking_drift_px[1] is 20000, but must be a number from -10000 to 10000",
        ),
        (
            |_, s| {
                s.star = Some(Star {
                    magnitude: 3.0,
                    temperature_k: 0.0,
                    altitude_rad: 1.0,
                })
            },
            "star.temperature_k is 0, but must be a number from 1000 to 100000",
        ),
        (
            |_, s| s.star.as_mut().expect("a star").altitude_rad = 0.0,
            "star.altitude_deg is 0, but must be a number from 1 to 90",
        ),
    ]);
}

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
    let refused = skewstar::scenario::write("far out", None, &scenario.instrument, &scenario.state);
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
        state.turns = turns(&[
            0.35e-3 / unit.pitch_m_per_turn,
            0.0,
            -0.35e-3 / unit.pitch_m_per_turn,
        ]);
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
