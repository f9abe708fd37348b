//! Masks larger than the printer's bed.

use super::{LAYOUTS, instrument_with};
use skewstar::mask::pieces::{CLEARANCE_M, PiecesError, pieces};
use skewstar::mask::plate::Plate;
use skewstar::mask::solid::Solid;

/// A cut at an angle lies between the points of the grid of 0.1 µm: slivers along 0.2 m of it.
const SLIVERS_M2: f64 = 0.2 * 2e-7;

/// Two and four pieces of every layout: closed, in one part each, without overlap, and together the plate but for the atmosphere in
/// the joints.
#[test]
fn pieces_fit_the_bed_and_make_the_plate_again() {
    for layout in LAYOUTS {
        let plate = Plate::new(&instrument_with(layout, "")).unwrap();
        for (bed_m, count) in [([0.19, 0.105], 2), ([0.105, 0.11], 4)] {
            let parts = pieces(&plate, bed_m).unwrap_or_else(|e| panic!("{layout}: {e}"));
            assert_eq!(parts.len(), count, "{layout}");
            let total: f64 = parts.iter().map(|part| part.plate.area_m2()).sum();
            let missing_m2 = plate.plate.area_m2() - total;
            // at most 64 dovetails, each with less than 20 mm of joint
            assert!(
                missing_m2 > 0.0 && missing_m2 < 64.0 * 20e-3 * CLEARANCE_M,
                "{layout}: {missing_m2}"
            );
            for (number, part) in parts.iter().enumerate() {
                assert_eq!(part.plate.shapes.len(), 1, "{layout}, piece {number}");
                assert!(part.plate.minus(&plate.plate).area_m2() < SLIVERS_M2);
                for other in &parts[..number] {
                    let shared = part.plate.common(&other.plate).area_m2();
                    assert!(shared < SLIVERS_M2, "{layout}: {shared}");
                }
                Solid::new(part).unwrap_or_else(|e| panic!("{layout}, piece {number}: {e}"));
            }
        }
    }
}

/// A dovetail holds: a piece moved away from the cut by a millimetre runs into its neighbour.
#[test]
fn a_dovetail_cannot_be_pulled_straight_out() {
    let plate = Plate::new(&instrument_with(LAYOUTS[0], "")).unwrap();
    let parts = pieces(&plate, [0.19, 0.105]).unwrap();
    let b = parts[1].plate.bounds_m();
    let middle = [0.5 * (b[0] + b[2]), 0.5 * (b[1] + b[3])];
    let size = middle[0].hypot(middle[1]);
    let away = [middle[0] / size * 1e-3, middle[1] / size * 1e-3];
    let moved: Vec<Vec<[f64; 2]>> = parts[1]
        .plate
        .contours()
        .map(|contour| {
            let place = |corner| {
                let [x, y] = skewstar::geometry::outline::place_m(corner);
                [x + away[0], y + away[1]]
            };
            contour.iter().map(place).collect()
        })
        .collect();
    let moved = skewstar::geometry::outline::Outline::filled(
        &moved,
        skewstar::geometry::outline::Fill::NonZero,
    );
    assert!(moved.common(&parts[0].plate).area_m2() > 0.02e-6);
}

#[test]
fn a_plate_that_fits_stays_whole_and_a_bed_too_small_is_named() {
    let plate = Plate::new(&instrument_with(LAYOUTS[0], "")).unwrap();
    assert_eq!(pieces(&plate, [0.22, 0.22]).unwrap(), vec![plate.clone()]);
    let refused = pieces(&plate, [0.09, 0.3]).unwrap_err();
    assert!(matches!(refused, PiecesError::TooLarge { .. }));
    assert_eq!(
        refused.to_string(),
        "a quarter of the mask is 100.0 mm wide, but mask.print.bed_mm leaves 86.0 between its margins on its short side"
    );
}
