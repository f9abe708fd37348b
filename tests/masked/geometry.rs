//! What the plate leaves open, against a count of points that knows the layouts from their description alone.

use super::openings::Openings;
use super::{Case, case, plate};
use approx::assert_relative_eq;
use ndarray::Array2;
use skewstar::axes::FieldM;
use skewstar::geometry::{CellGrid, Piece, area};
use skewstar::instrument::*;
use skewstar::mask::{openings, overlapping};
use skewstar::pupil::Pupil;
use skewstar::state::State;
use skewstar::units::{DEG, MM};

/// Points spread over the square of each count.
const POINTS: usize = 400_000;
/// Coarse cells whose open fraction is compared one by one.
const COARSE: usize = 12;

fn region(azimuth_deg: [f64; 2], radius_mm: [f64; 2], slot_deg: f64, pitch_mm: f64) -> RegionSpec {
    RegionSpec {
        azimuth_rad: azimuth_deg.map(|a| a * DEG),
        radius_m: radius_mm.map(|r| r * MM),
        slot_rad: slot_deg * DEG,
        pitch_m: pitch_mm * MM,
        open_fraction: 0.45,
    }
}

fn hole(radius_mm: f64, azimuth_deg: f64, diameter_mm: f64) -> HoleSpec {
    HoleSpec {
        radius_m: radius_mm * MM,
        azimuth_rad: azimuth_deg * DEG,
        diameter_m: diameter_mm * MM,
    }
}

/// Every layout, straight and turned, moved, seen from a field point and by a turned and mirrored camera.
fn cases() -> Vec<Case> {
    let moved = |design: MaskDesign| MaskDesign {
        rotation_rad: 17.3 * DEG,
        offset_m: [1.3 * MM, -0.8 * MM],
        ..design
    };
    let turned_camera = |instrument: &mut Instrument, _: &mut State| {
        instrument.camera.rotation_rad = 33.0 * DEG;
        instrument.camera.mirrored = true;
    };
    let far_star = |instrument: &mut Instrument, state: &mut State| {
        instrument.camera.rotation_rad = -71.0 * DEG;
        instrument.mask.as_mut().unwrap().distance_m = 140.0 * MM;
        instrument
            .telescope
            .obstruction
            .as_mut()
            .unwrap()
            .distance_m = -60.0 * MM;
        state.field_m = FieldM::new([6.1 * MM, -3.7 * MM]);
    };
    let with_vanes = |instrument: &mut Instrument, _: &mut State| {
        instrument.telescope.obstruction.as_mut().unwrap().shape = ObstructionShape::Square;
        instrument.telescope.vanes = vec![Vane {
            azimuth_rad: 208.0 * DEG,
            width_m: 6.0 * MM,
            inner_radius_m: 40.5 * MM,
            outer_radius_m: 95.0 * MM,
            offset_m: 2.2 * MM,
        }];
    };
    let three = plate(MaskLayout::THREE_TRIPLET);
    let leaning_back = MaskDesign {
        sense: -1.0,
        slant_rad: 24.0 * DEG,
        ..three.clone()
    };
    let whole_and_wide = MaskLayout::Regions(vec![
        region([-20.0, 210.0], [66.0, 94.0], 37.0, 3.6),
        region([210.0, 335.0], [60.0, 90.0], 118.0, 2.8),
        region([15.0, 375.0], [42.0, 58.0], 80.0, 2.3),
    ]);
    let almost_whole = MaskDesign {
        inner_diameter_m: 0.0,
        inner_rim_m: 0.0,
        ..plate(MaskLayout::Regions(vec![
            region([1.0, 359.0], [0.0, 60.0], 63.0, 3.1),
            region([10.0, 189.0], [60.0, 94.0], 15.0, 3.3),
        ]))
    };
    let small_obstruction = |instrument: &mut Instrument, _: &mut State| {
        instrument
            .telescope
            .obstruction
            .as_mut()
            .unwrap()
            .diameter_m = 9.0 * MM;
    };
    let holes = vec![
        hole(66.0, 12.0, 31.0),
        hole(68.5, 132.0, 24.0),
        hole(66.0, 251.0, 50.0),
        hole(90.0, 205.0, 17.0),
    ];
    vec![
        case("one-triplet", plate(MaskLayout::ONE_TRIPLET), |_, _| ()),
        case(
            "one-triplet, turned camera",
            plate(MaskLayout::ONE_TRIPLET),
            turned_camera,
        ),
        case(
            "one-triplet, moved",
            moved(plate(MaskLayout::ONE_TRIPLET)),
            turned_camera,
        ),
        case("three-triplet", three.clone(), |_, _| ()),
        case("three-triplet, moved", moved(three.clone()), turned_camera),
        case("three-triplet, far star", moved(three), far_star),
        case(
            "three-triplet, leaning back, vanes",
            leaning_back,
            with_vanes,
        ),
        case("two-zone", plate(MaskLayout::TWO_ZONE), |_, _| ()),
        case(
            "two-zone, far star",
            moved(plate(MaskLayout::TWO_ZONE)),
            far_star,
        ),
        case(
            "two-pitch, leaning back, turned camera",
            MaskDesign {
                sense: -1.0,
                ..moved(plate(MaskLayout::TWO_PITCH))
            },
            turned_camera,
        ),
        case(
            "tangent-wedges",
            plate(MaskLayout::TANGENT_WEDGES),
            |_, _| (),
        ),
        case(
            "tangent-wedges, far star",
            moved(plate(MaskLayout::TANGENT_WEDGES)),
            far_star,
        ),
        case(
            "holes, two of them over an edge of the plate",
            moved(plate(MaskLayout::Holes(holes))),
            turned_camera,
        ),
        case(
            "regions: wide, narrow, a full turn",
            moved(plate(whole_and_wide)),
            turned_camera,
        ),
        case(
            "regions: 358 and 179 degrees wide, no hole",
            almost_whole,
            small_obstruction,
        ),
    ]
}

/// Points that fill a square evenly without lining up with anything: k·(1/p, 1/p²) modulo 1 with p³ = p + 1
/// (a Kronecker sequence; from memory).
pub fn spread(count: usize, half_width_m: f64) -> impl Iterator<Item = [f64; 2]> {
    let p = 1.324_717_957_244_746_f64;
    (1..=count).map(move |k| {
        [1.0 / p, 1.0 / (p * p)].map(|step| 2.0 * half_width_m * ((k as f64 * step).fract() - 0.5))
    })
}

/// Frame position = Mirror · R(−rotation) · position in pupil axes; this is the way back.
fn pupil_axes(camera: &Camera, [x, y]: [f64; 2]) -> [f64; 2] {
    let x = if camera.mirrored { -x } else { x };
    let (sin, cos) = camera.rotation_rad.sin_cos();
    [x * cos - y * sin, x * sin + y * cos]
}

#[test]
fn the_open_points_are_those_of_the_description_and_no_point_is_opened_twice() {
    for Case {
        name,
        instrument,
        state,
    } in cases()
    {
        let pupil = Pupil::new(&instrument, &state);
        let description = Openings::new(&instrument, &state);
        let mut lit = 0;
        for place in spread(POINTS / 8, 97.0 * MM) {
            let times = pupil
                .pieces()
                .iter()
                .filter(|p| p.contains(place[0], place[1]))
                .count();
            let open = description.is_open(pupil_axes(&instrument.camera, place));
            assert_eq!(
                times,
                usize::from(open),
                "{name}: {:.3} {:.3} mm",
                place[0] / MM,
                place[1] / MM
            );
            lit += times;
        }
        assert!(lit > POINTS / 80, "{name}: only {lit} points are open");
    }
}

/// Measured: at most 6e-4 for the whole, 0.02 for a coarse cell (of 16 × 16 mm), set by the number of points.
#[test]
fn open_area_is_the_count_of_points_as_a_whole_and_in_coarse_cells() {
    let half = 97.0 * MM;
    let grid = CellGrid {
        count: COARSE,
        cell_m: 2.0 * half / COARSE as f64,
    };
    for Case {
        name,
        instrument,
        state,
    } in cases()
    {
        let description = Openings::new(&instrument, &state);
        let mut counted = Array2::<f64>::zeros((COARSE, COARSE));
        for place in spread(POINTS, half) {
            if description.is_open(pupil_axes(&instrument.camera, place)) {
                let [column, row] = place.map(|v| ((v + half) / grid.cell_m) as usize);
                counted[[row, column]] += (COARSE * COARSE) as f64 / POINTS as f64;
            }
        }
        let pupil = Pupil::new(&instrument, &state);
        let area = counted.sum() * grid.cell_m.powi(2);
        let worst = (&pupil.sample(grid).fraction - &counted)
            .iter()
            .fold(0.0f64, |w, d| w.max(d.abs()));
        println!(
            "{name}: {:.2e} {worst:.4}",
            pupil.open_area_m2() / area - 1.0
        );
        assert_relative_eq!(pupil.open_area_m2(), area, max_relative = 1e-3);
        assert!(
            worst < 0.03,
            "{name}: a cell's open fraction is off by {worst}"
        );
    }
}

#[test]
fn summed_coverage_is_the_area_in_closed_form() {
    for Case {
        name,
        instrument,
        state,
    } in cases()
    {
        let pupil = Pupil::new(&instrument, &state);
        for count in [97, 640] {
            let grid = CellGrid {
                count,
                cell_m: 192.0 * MM / count as f64,
            };
            let summed = pupil.sample(grid).fraction.sum() * grid.cell_m.powi(2);
            assert!(
                (summed / pupil.open_area_m2() - 1.0).abs() < 1e-9,
                "{name}, {count} cells: {summed} {}",
                pupil.open_area_m2()
            );
        }
    }
}

#[test]
fn no_two_openings_of_a_plate_share_area() {
    for Case {
        name, instrument, ..
    } in cases()
    {
        let slots: Vec<Piece> = openings(instrument.mask.as_ref().unwrap())
            .into_iter()
            .map(|o| o.1)
            .collect();
        assert!(slots.len() > 3, "{name}");
        for (i, a) in slots.iter().enumerate() {
            for (j, b) in slots.iter().enumerate().skip(i + 1) {
                let bounds = [
                    a.bounds[0].max(b.bounds[0]),
                    a.bounds[1].max(b.bounds[1]),
                    a.bounds[2].min(b.bounds[2]),
                    a.bounds[3].min(b.bounds[3]),
                ];
                if bounds[0] >= bounds[2] || bounds[1] >= bounds[3] {
                    continue;
                }
                let both = Piece {
                    keep: [a.keep.clone(), b.keep.clone()].concat(),
                    blocks: [a.blocks.clone(), b.blocks.clone()].concat(),
                    bounds,
                };
                assert!(
                    area(&both) < 1e-15,
                    "{name}: openings {i} and {j} share {} m²",
                    area(&both)
                );
            }
        }
    }
}

#[test]
fn holes_and_regions_that_share_area_are_named() {
    let apart = vec![
        hole(66.0, 0.0, 20.0),
        hole(66.0, 120.0, 30.0),
        hole(66.0, 140.0, 15.8),
    ];
    assert_eq!(
        overlapping(&MaskLayout::Holes(apart.clone())),
        None,
        "their gap is 0.02 mm"
    );
    let mut meeting = apart;
    meeting[2].diameter_m = 15.9 * MM;
    assert_eq!(overlapping(&MaskLayout::Holes(meeting)), Some((1, 2)));

    let regions = |list: &[[f64; 4]]| {
        overlapping(&MaskLayout::Regions(
            list.iter()
                .map(|r| region([r[0], r[1]], [r[2], r[3]], 0.0, 3.0))
                .collect(),
        ))
    };
    assert_eq!(
        regions(&[[0.0, 90.0, 40.0, 90.0], [90.0, 200.0, 40.0, 90.0]]),
        None
    );
    assert_eq!(
        regions(&[[0.0, 90.0, 40.0, 90.0], [89.9, 200.0, 40.0, 90.0]]),
        Some((0, 1))
    );
    assert_eq!(
        regions(&[[0.0, 90.0, 40.0, 60.0], [10.0, 80.0, 60.0, 90.0]]),
        None
    );
    assert_eq!(
        regions(&[[0.0, 90.0, 40.0, 60.1], [10.0, 80.0, 60.0, 90.0]]),
        Some((0, 1))
    );
    assert_eq!(
        regions(&[[-30.0, 20.0, 40.0, 90.0], [340.0, 350.0, 40.0, 90.0]]),
        Some((0, 1))
    );
    assert_eq!(
        regions(&[[350.0, 370.0, 40.0, 90.0], [5.0, 30.0, 40.0, 90.0]]),
        Some((0, 1))
    );
    assert_eq!(
        regions(&[[350.0, 365.0, 40.0, 90.0], [5.0, 30.0, 40.0, 90.0]]),
        None
    );
    assert_eq!(
        regions(&[[0.0, 360.0, 40.0, 60.0], [200.0, 210.0, 50.0, 70.0]]),
        Some((0, 1))
    );
    assert_eq!(
        regions(&[
            [0.0, 250.0, 40.0, 60.0],
            [250.0, 360.0, 40.0, 60.0],
            [0.0, 1.0, 59.0, 70.0]
        ]),
        Some((0, 2))
    );
}
