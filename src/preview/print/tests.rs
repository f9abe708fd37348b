//! Motion and ways against closed forms. The comparison with a slicer is `tests/references/slicer.py`.

use super::motion::{Motion, Way};
use super::*;
use approx::assert_relative_eq;
use std::f64::consts::PI;

/// From rest to 80 mm/s and back at 1000 mm/s² over 100 mm, no jerk: L/v + v/a.
#[test]
fn a_long_line_takes_its_length_over_speed_and_one_ramp() {
    let motion = Motion {
        jerk: 0.0,
        ..Motion::default()
    };
    let way = Way {
        points: vec![[0.0; 2], [0.06, 0.08]],
        speed: 0.08,
    };
    assert_relative_eq!(
        motion.along_s(&way),
        0.1 / 0.08 + 0.08,
        max_relative = 1e-12
    );
    // 2 mm are too short for full speed: 2 √(L/a)
    let short = Way {
        points: vec![[0.0; 2], [0.0, 0.002]],
        speed: 0.08,
    };
    assert_relative_eq!(
        motion.along_s(&short),
        2.0 * 0.002f64.sqrt(),
        max_relative = 1e-12
    );
}

/// A corner that is no corner costs nothing, however many points a straight line has; a right angle is taken at the jerk.
#[test]
fn points_on_a_line_cost_nothing_and_corners_do() {
    let motion = Motion::default();
    let line = |count: usize| Way {
        points: (0..=count)
            .map(|k| [0.1 * k as f64 / count as f64, 0.0])
            .collect(),
        speed: 0.06,
    };
    assert_relative_eq!(
        motion.along_s(&line(1)),
        motion.along_s(&line(50)),
        max_relative = 1e-9
    );
    let bent = Way {
        points: vec![[0.0; 2], [0.05, 0.0], [0.05, 0.05]],
        speed: 0.06,
    };
    // one more ramp from 60 mm/s down to the jerk of 8 and up again: (v − j)²/(a v)
    let more = (0.06f64 - 0.008).powi(2) / 0.06;
    assert_relative_eq!(
        motion.along_s(&bent),
        motion.along_s(&line(1)) + more,
        max_relative = 1e-9
    );
}

/// Solid lines over a disc fill it: their length times their distance is its area, less half a line all round.
#[test]
fn solid_lines_fill_what_they_are_for() {
    let apart_m = 0.4e-3;
    let disc = Outline::disc([3e-3, -2e-3], 0.02);
    for turned in 0..2 {
        let ways = super::paths::hatch(&disc, turned, apart_m, 0.08);
        assert_eq!(ways.len(), 1, "one way to and fro");
        let across: f64 = ways
            .iter()
            .flat_map(|way| way.points.chunks_exact(2))
            .map(|two| (two[1][0] - two[0][0]).hypot(two[1][1] - two[0][1]))
            .sum();
        let wanted = PI * 0.02 * 0.02 - apart_m * 0.04;
        assert_relative_eq!(across * apart_m, wanted, max_relative = 2e-3);
    }
}

/// A ring without slots: the plastic is about its volume; twice as thick takes about twice as long.
#[test]
fn a_disc_takes_its_volume_and_time_grows_with_thickness() {
    let mut instrument = crate::testing::fast_unit();
    let mut design = crate::testing::mask(crate::instrument::MaskLayout::Holes(vec![
        crate::instrument::HoleSpec {
            radius_m: 0.065,
            azimuth_rad: 0.4,
            diameter_m: 0.02,
        },
    ]));
    design.printer.engraving_m = 0.0;
    let printer = design.printer.clone();
    let mut costs = Vec::new();
    for thickness_m in [2.4e-3, 4.8e-3] {
        design.thickness_m = thickness_m;
        instrument.mask = Some(design.clone());
        let plate = Plate::new(&instrument).unwrap();
        let found = cost(&plate, &printer);
        let volume_m3 = plate.plate.area_m2() * thickness_m;
        assert_relative_eq!(found.plastic_m3, volume_m3, max_relative = 0.03);
        costs.push(found.time_s);
    }
    // but for the slower first layer and the skirt
    let ratio = costs[1] / costs[0];
    assert!((1.75..1.98).contains(&ratio), "{ratio}");
}
