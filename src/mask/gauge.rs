//! A piece of the ring to try on the tube before the whole mask is printed.

use super::plate::{LIP_M, Plate, sector};
use crate::geometry::outline::Outline;
use crate::instrument::MaskDesign;
use std::f64::consts::{FRAC_PI_2, PI};

/// The gauge spans 60 degrees of the ring.
const HALF_RAD: f64 = PI / 6.0;
/// Its plate, and the most of the ring's height that is printed.
const THICKNESS_M: f64 = 1.2e-3;
const HEIGHT_M: f64 = 6e-3;

impl Plate {
    /// A sixth of the ring on a thin strip of plate: what has to fit the tube, in minutes instead of hours. `None` without a ring.
    pub fn gauge(design: &MaskDesign) -> Option<Plate> {
        let grip = design.grip.as_ref()?;
        let walls = grip.walls_m();
        let [from, to] = grip.bearing_m();
        let inner = walls
            .iter()
            .map(|wall| wall[0] - LIP_M)
            .fold(from, f64::min);
        let outer = walls.iter().map(|wall| wall[1] + LIP_M).fold(to, f64::max);
        let within = |half_rad: f64| sector(FRAC_PI_2, half_rad, 2.0 * outer);
        let ring = walls.iter().fold(Outline::default(), |sum, [from, to]| {
            sum.plus(&Outline::ring(*from, *to))
        });
        let plate = Outline::ring(inner.max(0.0), outer).common(&within(HALF_RAD));
        let reach_m = plate.farthest_m();
        Some(Plate {
            ring: ring.common(&within(HALF_RAD - LIP_M / outer)),
            plate,
            open: Outline::default(),
            letters: Outline::default(),
            feet: Outline::default(),
            words: Vec::new(),
            capital_m: 0.0,
            stem_m: 0.0,
            bridges: 0,
            ring_over_slots_m2: 0.0,
            heights_m: [THICKNESS_M, 0.0, grip.height_m.min(HEIGHT_M)],
            feet_m: 0.0,
            outer_radius_m: outer,
            reach_m,
        })
    }
}
