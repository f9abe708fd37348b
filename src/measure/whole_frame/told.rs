//! What is told of a plane and a node that a fit has found: fits typed by hand, so that each flag has one reason.

use super::coma::NodeFit;
use super::descent::Fit;
use super::plane::PlaneFit;
use super::*;
use crate::testing::fast_unit;

/// Half the diagonal of the frame is 0.76 mm; coma grows by 20 nm a millimetre.
fn unit() -> Instrument {
    let mut unit = fast_unit();
    (unit.camera.width_px, unit.camera.height_px) = (321, 241);
    unit.telescope.field.coma_per_m = GROWTH;
    unit
}

const GROWTH: f64 = 20.0 * NM / MM;

fn empty() -> WholeFrame {
    WholeFrame {
        sources_found: 0,
        stars: Vec::new(),
        focal_plane: None,
        coma: None,
        corners: None,
        flags: Flags::default(),
    }
}

fn fit(values: &[f64], sigmas: &[f64]) -> Fit {
    Fit {
        values: values.to_vec(),
        sigmas: sigmas.iter().map(|sigma| Some(*sigma)).collect(),
        chi_square: 0.0,
    }
}

/// Flags of a node at a place along x, with coma that grows by so much, and a scatter.
fn of_node(unit: &Instrument, growth: f64, x_mm: f64, scale: f64) -> Flags {
    let node = NodeFit {
        fit: fit(
            &[growth, x_mm * MM, 0.0],
            &[0.02 * GROWTH, 0.01 * MM, 0.01 * MM],
        ),
        scale,
        used: 30,
    };
    told(unit, |field, frame| field.tell_node(frame, Some(node)))
}

/// Flags of a plane 60 µm outside focus in the middle, by its slope along x with its σ, and a scatter.
fn of_plane(unit: &Instrument, slope: [f64; 2], scale: f64) -> Flags {
    let plane = PlaneFit {
        fit: fit(
            &[60.0 * UM, slope[0], 0.0, (8.0 * UM).powi(2), 0.3],
            &[1.0 * UM, slope[1], slope[1], 1e-14, 0.01],
        ),
        scale,
        used: 30,
        sign_open: false,
    };
    told(unit, |field, frame| field.tell_plane(frame, Some(plane)))
}

fn told(unit: &Instrument, tell: impl FnOnce(&FieldOfFrame, &mut WholeFrame)) -> Flags {
    let options = WholeFrameOptions {
        side: Some(Side::Outside),
        ..WholeFrameOptions::default()
    };
    let field = FieldOfFrame {
        middle_px: [160.0, 120.0],
        instrument: unit,
        options: &options,
    };
    let mut frame = empty();
    tell(&field, &mut frame);
    frame.flags
}

#[test]
fn a_node_is_told_with_what_stands_against_it() {
    let unit = unit();
    assert_eq!(of_node(&unit, GROWTH, 0.3, 1.0), Flags::default());
    let far = Flags::from([Flag::NodeFarOutside]);
    assert_eq!(of_node(&unit, GROWTH, 4.0, 1.0), far);
    let scattered = Flags::from([Flag::AsymmetriesOffModel]);
    assert_eq!(of_node(&unit, GROWTH, 0.3, 5.0), scattered);
    for growth in [0.3 * GROWTH, 3.0 * GROWTH, -GROWTH] {
        let differs = Flags::from([Flag::GrowthDiffers]);
        assert_eq!(of_node(&unit, growth, 0.3, 1.0), differs, "{growth}");
    }
    // growth that is not seen at all is too little, and tells of no node
    let none = Flags::from([Flag::GrowthDiffers, Flag::NodeNotFound]);
    assert_eq!(of_node(&unit, 0.01 * GROWTH, 0.3, 1.0), none);
    let nothing = told(&unit, |field, frame| field.tell_node(frame, None));
    assert_eq!(nothing, Flags::from([Flag::NodeNotFound]));
}

#[test]
fn a_node_without_response_or_growth_tells_no_tilt() {
    let mut flat = unit();
    flat.telescope.field.coma_per_m = 0.0;
    let no_growth = Flags::from([Flag::NoFieldComa]);
    assert_eq!(of_node(&flat, GROWTH, 0.3, 1.0), no_growth);
    let mut bare = unit();
    bare.assembly = None;
    let no_response = Flags::from([Flag::NoResponse]);
    assert_eq!(of_node(&bare, GROWTH, 0.3, 1.0), no_response);
}

#[test]
fn a_plane_is_told_with_what_stands_against_it() {
    let unit = unit();
    let steep = [0.02, 1e-4];
    assert_eq!(of_plane(&unit, steep, 1.0), Flags::default());
    let scattered = Flags::from([Flag::SizesOffModel]);
    assert_eq!(of_plane(&unit, steep, 5.0), scattered);
    let flat = Flags::from([Flag::PlaneFlat]);
    assert_eq!(of_plane(&unit, [0.0002, 1e-4], 1.0), flat);
    let nothing = told(&unit, |field, frame| field.tell_plane(frame, None));
    assert_eq!(nothing, Flags::from([Flag::PlaneNotFound]));
}
