//! Three screws and the plane they set. Closed forms on both sides: nothing is sampled.

use crate::support::checks::{agrees, input, list, number, rows};
use skewstar::instrument::{Assembly, AssemblyKind, ClockwiseTurn, Screw};
use skewstar::mechanics::{Plane, plane_of, turns_for};
use skewstar::state::ScrewTurns;
use skewstar::units::{ARCMIN, DEG, MM};

pub const USED: &[&str] = &[
    "screws.plane_tilt",
    "screws.one_screw_tilt_arcmin",
    "screws.pair_turned_opposite",
    "screws.all_equal",
    "screws.heights_for_tilt",
];

fn assembly(radius_mm: f64, first_deg: f64, pitch_mm: f64) -> Assembly {
    Assembly {
        kind: AssemblyKind::PushPull,
        screw_circle_radius_m: radius_mm * MM,
        pitch_m_per_turn: pitch_mm * MM,
        clockwise: ClockwiseTurn::Lengthens,
        travel_m: None,
        backlash_turns: 0.0,
        screws: [0.0, 120.0, 240.0]
            .map(|step| Screw {
                name: format!("{step}"),
                azimuth_rad: (first_deg + step) * DEG,
            })
            .to_vec(),
        response: None,
    }
}

/// The plane of screws with these heights in millimetres.
fn plane(assembly: &Assembly, heights_mm: &[f64]) -> Plane {
    let turns = heights_mm
        .iter()
        .map(|h| h * MM / assembly.pitch_m_per_turn);
    let turns = ScrewTurns::of(assembly, turns).expect("three heights");
    plane_of(assembly, &turns)
}

fn compare(id: &str, name: &str, row: &[f64], plane: &Plane) {
    let [a, b] = plane.tilt_rad;
    let found = [a, b, plane.piston_m / MM];
    for (part, (value, found)) in ["a", "b", "height"].iter().zip(row.iter().zip(found)) {
        agrees(id, &format!("{name} {part}"), *value, found, 0.0);
    }
}

#[test]
fn planes_through_three_heights() {
    let id = "screws.plane_tilt";
    let unit = assembly(
        input(id, "R_mm").number(),
        input(id, "phi0_deg").number(),
        0.7,
    );
    for (heights, row) in input(id, "heights_mm").rows().iter().zip(rows(id)) {
        compare(id, &format!("{heights:?}"), &row, &plane(&unit, heights));
    }
    let id = "screws.all_equal";
    let unit = assembly(input(id, "R_mm").number(), 17.0, 0.7);
    compare(
        id,
        "",
        &list(id),
        &plane(&unit, &[input(id, "h_mm").number(); 3]),
    );
}

#[test]
fn one_screw_and_a_pair() {
    let id = "screws.one_screw_tilt_arcmin";
    let unit = assembly(
        input(id, "R_mm").number(),
        17.0,
        input(id, "pitch_mm").number(),
    );
    for (turns, value) in input(id, "turns").list().into_iter().zip(list(id)) {
        for screw in 0..3 {
            let mut all = ScrewTurns::zero(&unit);
            all[screw] = turns;
            let tilt = plane_of(&unit, &all).tilt_rad;
            let found = tilt[0].hypot(tilt[1]) / ARCMIN;
            agrees(
                id,
                &format!("screw {screw} {turns} turns"),
                value,
                found,
                0.0,
            );
            let raised = tilt[1].atan2(tilt[0]) - unit.screws[screw].azimuth_rad;
            assert!(
                raised.sin().abs() < 1e-9 && raised.cos() > 0.0,
                "it points at the screw"
            );
        }
    }
    let id = "screws.pair_turned_opposite";
    let (unit, height) = (
        assembly(input(id, "R_mm").number(), 17.0, 0.7),
        input(id, "h_mm").number(),
    );
    let plane = plane(&unit, &[height, -height, 0.0]);
    agrees(
        id,
        "",
        number(id),
        plane.tilt_rad[0].hypot(plane.tilt_rad[1]),
        0.0,
    );
    assert!(plane.piston_m.abs() < 1e-15);
}

#[test]
fn heights_that_set_a_plane() {
    let id = "screws.heights_for_tilt";
    let unit = assembly(
        input(id, "R_mm").number(),
        input(id, "phi0_deg").number(),
        0.7,
    );
    let plane = Plane {
        piston_m: 0.0,
        tilt_rad: ["a", "b"].map(|key| input(id, key).number()),
    };
    let turns = turns_for(&unit, &plane);
    for (screw, (value, turns)) in list(id).into_iter().zip(turns.iter()).enumerate() {
        agrees(
            id,
            &format!("screw {screw}"),
            value,
            turns * unit.pitch_m_per_turn / MM,
            0.0,
        );
    }
}
