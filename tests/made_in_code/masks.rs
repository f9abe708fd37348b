//! Every rule of `src/scenario/validate/mask.rs`, broken by a mask that was made in code, and what its openings must be.

use super::refusals::{each, mask};
use super::{valid, whole};
use skewstar::instrument::*;
use skewstar::scenario::check_parts;
use skewstar::units::{DEG, MM};

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
                (grip.over_tube, grip.tube_diameter_m, grip.notch) = (false, 5.0 * MM, None);
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
pub fn lay(instrument: &mut Instrument, layout: MaskLayout) {
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

pub fn region(azimuth_deg: [f64; 2], radius_mm: [f64; 2]) -> RegionSpec {
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
        shows_plate: true,
        centre_m: None,
        openings_m,
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
