//! Flags of a star that is cut out of a painted frame: each for its own reason, and none without one.

use super::*;
use crate::instrument::Electronics;
use crate::rng::{Purpose, Seed};
use crate::testing::fast_unit;
use rand_distr::{Distribution, Normal};

const SIZE_PX: [usize; 2] = [120, 118];
const MIDDLE_PX: [f64; 2] = [60.0, 58.0];

fn unit() -> Instrument {
    let mut unit = fast_unit();
    [unit.camera.width_px, unit.camera.height_px] = SIZE_PX;
    unit.camera.electronics = Some(Electronics {
        quantum_efficiency: 0.8,
        gain_e_per_adu: 1.0,
        bias_adu: 500.0,
        read_noise_e: 5.0,
        dark_e_per_s: 0.0,
        full_well_e: 1e6,
        bits: 16,
        pixel_response_rms: 0.0,
    });
    unit
}

/// A sky of 500 ± 5 counts with rings of light, each 24 px across with a dark middle of 10 px; light scatters as photons do.
fn sky(rings_px: &[[f64; 2]]) -> Picture {
    let mut stream = Seed(1).stream(Purpose::Read, 1);
    let normal = Normal::new(0.0f64, 1.0).expect("a spread");
    let values = Array2::from_shape_fn((SIZE_PX[1], SIZE_PX[0]), |(row, column)| {
        let lit =
            |[x, y]: &&[f64; 2]| (5.0..12.0).contains(&(column as f64 - x).hypot(row as f64 - y));
        let light = 90.0 * rings_px.iter().filter(lit).count() as f64;
        (500.0 + light + (25.0 + light).sqrt() * normal.sample(&mut stream)).round()
    });
    Picture::new(values)
}

fn flags_of(picture: &Picture, instrument: &Instrument) -> Flags {
    let settings = FindingSettings::default();
    let star = picture.star(instrument, false, None, &settings);
    star.expect("a star").flags
}

#[test]
fn a_star_of_which_all_is_known_has_no_flag() {
    assert_eq!(flags_of(&sky(&[MIDDLE_PX]), &unit()), Flags::default());
}

#[test]
fn a_gain_that_neither_camera_nor_file_tells_is_flagged() {
    let mut unit = unit();
    unit.camera.electronics = None;
    let mut picture = sky(&[MIDDLE_PX]);
    let unknown = Flags::from([Flag::GainUnknown]);
    assert_eq!(flags_of(&picture, &unit), unknown);
    picture.gain_e_per_adu = Some(0.7);
    assert_eq!(flags_of(&picture, &unit), Flags::default());
}

#[test]
fn a_star_at_the_edge_and_one_that_another_lies_in_are_flagged() {
    let cut = Flags::from([Flag::StarCutByEdge]);
    assert_eq!(flags_of(&sky(&[[9.0, 58.0]]), &unit()), cut);
    let two = sky(&[MIDDLE_PX, [76.0, 65.0]]);
    assert_eq!(flags_of(&two, &unit()), Flags::from([Flag::StarsOverlap]));
}

#[test]
fn full_pixels_and_hot_ones_are_flagged() {
    let mut full = sky(&[MIDDLE_PX]);
    full.ceiling_adu = Some(4000.0);
    for row in 64..67 {
        for column in 64..67 {
            full.values_adu[[row, column]] = 4000.0;
        }
    }
    assert_eq!(flags_of(&full, &unit()), Flags::from([Flag::Saturated]));
    let mut hot = sky(&[MIDDLE_PX]);
    hot.values_adu[[58, 42]] = 9000.0;
    assert_eq!(flags_of(&hot, &unit()), Flags::from([Flag::PixelsLeftOut]));
}

/// A part of the sensor does not say where in the field its star is; that matters where the telescope changes over its field.
#[test]
fn a_frame_of_another_size_is_flagged_where_the_field_matters() {
    let mut unit = unit();
    unit.camera.width_px += 2;
    let picture = sky(&[MIDDLE_PX]);
    assert_eq!(flags_of(&picture, &unit), Flags::default());
    unit.telescope.field.coma_per_m = 1e-6;
    let differs = Flags::from([Flag::FrameSizeDiffers]);
    assert_eq!(flags_of(&picture, &unit), differs);
}
