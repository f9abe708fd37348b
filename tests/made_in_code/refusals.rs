//! Every rule of `src/scenario/validate` but those of the mask, broken by an instrument or a state that was made in code; and
//! what such values can break that no file can.
//!
//! Only a file can break the others: unknown and missing keys, wrong types, keys that exclude each other or belong to another
//! layout or kind of telescope, surfaces that make none, annular modes, the stars of `[field]`, turns of unknown screws.

use super::{turns_of_other_screws, whole};
use skewstar::axes::FieldM;
use skewstar::instrument::*;
use skewstar::scenario::check_parts;
use skewstar::state::{Exposure, Modes, ScrewTurns, Star, State};
use skewstar::units::{ARCMIN, ARCSEC, DEG, MM, NM};

/// What breaks the rule, and the whole sentence that says so.
pub type Broken = (fn(&mut Instrument, &mut State), &'static str);

/// Breaks what has every section; the sentence must be told, with a hint, and without any place in a file.
pub fn each(table: &[Broken]) {
    for (change, sentence) in table {
        let (mut instrument, mut state) = whole();
        change(&mut instrument, &mut state);
        let error = check_parts(&instrument, &state).expect_err(sentence);
        assert_eq!(error.to_string(), *sentence);
        assert!(!error.hint().is_empty(), "{sentence}");
        assert_eq!((error.line(), error.label.as_str()), (None, ""));
    }
}

pub fn mask(instrument: &mut Instrument) -> &mut MaskDesign {
    instrument.mask.as_mut().expect("a mask")
}

pub fn assembly(instrument: &mut Instrument) -> &mut Assembly {
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
                s.turns = turns_of_other_screws(2);
            },
            "assembly.screws is a list of 2 values, but must be a list of 3 to 24 tables",
        ),
        (
            |i, _| assembly(i).response.as_mut().expect("one").coma_m_per_rad = f64::NAN,
            "assembly.response.coma_nm_per_arcmin is nan, but must be a number from -1000000000 to 1000000000",
        ),
        (
            |_, s| s.turns = turns_of_other_screws(5),
            "state.turns is a list of 5 values, but must be a list of 3 values, one for each of assembly.screws, or of none",
        ),
        (
            |_, s| s.turns = turns_of_other_screws(1),
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
