//! Whether a point of the pupil is open, from the words that describe the masks and from nothing else.
//!
//! "The mask is an opaque plate between its inner and outer diameter, open in its slots only; light that passes beside the
//! plate does reach the star. A slot angle is the direction *along* the slot. In every region one slot is centred on the line
//! through the mask's centre. Slots stop at the rims and at ribs centred on the borders between regions (zones included)."
//! The layouts' angles are typed here again, in degrees, as azimuth → slot angle; the engine lists regions instead.

use skewstar::axes::FieldM;
use skewstar::instrument::*;
use skewstar::state::State;
use skewstar::units::{DEG, MM};

/// What stands at a point of the plate: the slots' direction and spacing there.
struct Slots {
    along_deg: f64,
    pitch_mm: f64,
    open_fraction: f64,
}

/// A border between two regions, in the mask's axes.
enum Border {
    /// From one radius to another, outwards in a direction (a unit vector).
    Radial {
        outward: [f64; 2],
        radii_mm: [f64; 2],
    },
    /// At a radius, over a range of azimuths (from, width).
    Circle {
        radius_mm: f64,
        from_deg: f64,
        width_deg: f64,
    },
}

/// How light passes at a point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Passage {
    /// There is no mask, or it passes beside the plate or through its hole.
    Free,
    /// Through a round hole.
    Hole,
    /// Through a slot: the slot's direction and the place's azimuth, both in the mask's axes.
    Slot { along_deg: f64, azimuth_deg: f64 },
}

/// A telescope with its mask, ready to be asked.
pub struct Openings<'a> {
    telescope: &'a Telescope,
    plate: Option<(&'a MaskDesign, Vec<Border>)>,
    field_m: FieldM,
}

impl<'a> Openings<'a> {
    pub fn new(instrument: &'a Instrument, state: &State) -> Self {
        let worn = instrument.mask.as_ref().filter(|_| state.mask_on);
        Openings {
            telescope: &instrument.telescope,
            plate: worn.map(|design| (design, borders(design))),
            field_m: state.field_m,
        }
    }

    /// Whether light passes at a point of the pupil (metres, pupil axes).
    pub fn is_open(&self, place_m: [f64; 2]) -> bool {
        self.passage(place_m).is_some()
    }

    /// How light passes at a point of the pupil (metres, pupil axes), if it does.
    pub fn passage(&self, place_m: [f64; 2]) -> Option<Passage> {
        let [x, y] = place_m.map(|v| v / MM);
        let blocked = x.hypot(y) > 0.5 * self.telescope.aperture_m / MM
            || self.obstructed(x, y)
            || self
                .telescope
                .vanes
                .iter()
                .any(|vane| behind_vane(vane, x, y));
        if blocked {
            return None;
        }
        let Some((design, borders)) = &self.plate else {
            return Some(Passage::Free);
        };
        let moved = self.seen_moved_mm(design.distance_m);
        let dx = x - design.offset_m[0] / MM - moved[0];
        let dy = y - design.offset_m[1] / MM - moved[1];
        let azimuth_deg = dy.atan2(dx) / DEG - design.rotation_rad / DEG;
        through_plate(design, borders, dx.hypot(dy), azimuth_deg.rem_euclid(360.0))
    }

    fn obstructed(&self, x: f64, y: f64) -> bool {
        let Some(obstruction) = &self.telescope.obstruction else {
            return false;
        };
        let moved = self.seen_moved_mm(obstruction.distance_m);
        let dx = x - obstruction.offset_m[0] / MM - moved[0];
        let dy = y - obstruction.offset_m[1] / MM - moved[1];
        let size = match obstruction.shape {
            ObstructionShape::Round => dx.hypot(dy),
            ObstructionShape::Square => dx.abs().max(dy.abs()),
        };
        size < 0.5 * obstruction.diameter_m / MM
    }

    /// What is ahead of the pupil is seen displaced by +distance·h/f.
    fn seen_moved_mm(&self, distance_m: f64) -> [f64; 2] {
        self.field_m
            .xy()
            .map(|h| distance_m * h / self.telescope.focal_length_m / MM)
    }
}

fn behind_vane(vane: &Vane, x: f64, y: f64) -> bool {
    let (sin, cos) = vane.azimuth_rad.sin_cos();
    let (along, left) = (x * cos + y * sin, y * cos - x * sin);
    (left - vane.offset_m / MM).abs() < 0.5 * vane.width_m / MM
        && along > vane.inner_radius_m / MM
        && along < vane.outer_radius_m / MM
}

fn through_plate(
    design: &MaskDesign,
    borders: &[Border],
    radius_mm: f64,
    azimuth_deg: f64,
) -> Option<Passage> {
    let (inner, outer) = (
        0.5 * design.inner_diameter_m / MM,
        0.5 * design.outer_diameter_m / MM,
    );
    if radius_mm > outer || radius_mm < inner {
        return Some(Passage::Free); // beside the plate, or through its hole
    }
    let (sin, cos) = (azimuth_deg * DEG).sin_cos();
    let (x, y) = (radius_mm * cos, radius_mm * sin);
    if let MaskLayout::Holes(holes) = &design.layout {
        return holes
            .iter()
            .any(|hole| is_drilled(hole, x, y))
            .then_some(Passage::Hole);
    }
    let under_rim =
        radius_mm > outer - design.outer_rim_m / MM || radius_mm < inner + design.inner_rim_m / MM;
    if under_rim {
        return None;
    }
    let slots = slots_at(design, radius_mm, azimuth_deg)?;
    let (sin, cos) = (slots.along_deg * DEG).sin_cos();
    let from_centre_line = y * cos - x * sin;
    let from_nearest =
        from_centre_line - slots.pitch_mm * (from_centre_line / slots.pitch_mm).round();
    let in_slot = from_nearest.abs() < 0.5 * slots.open_fraction * slots.pitch_mm;
    let under_rib = |b: &Border| distance_mm(b, x, y) < 0.5 * design.rib_m / MM;
    (in_slot && !borders.iter().any(under_rib)).then_some(Passage::Slot {
        along_deg: slots.along_deg,
        azimuth_deg,
    })
}

fn is_drilled(hole: &HoleSpec, x: f64, y: f64) -> bool {
    let dx = x - hole.radius_m / MM * hole.azimuth_rad.cos();
    let dy = y - hole.radius_m / MM * hole.azimuth_rad.sin();
    dx.hypot(dy) < 0.5 * hole.diameter_m / MM
}

/// Distance from a border, square ends: infinite beside its ends.
fn distance_mm(border: &Border, x: f64, y: f64) -> f64 {
    match *border {
        Border::Radial {
            outward: [cos, sin],
            radii_mm,
        } => {
            let along = x * cos + y * sin;
            if along < radii_mm[0] || along > radii_mm[1] {
                return f64::INFINITY;
            }
            (y * cos - x * sin).abs()
        }
        Border::Circle {
            radius_mm,
            from_deg,
            width_deg,
        } => {
            let beside =
                width_deg < 360.0 && (y.atan2(x) / DEG - from_deg).rem_euclid(360.0) > width_deg;
            if beside {
                return f64::INFINITY;
            }
            (x.hypot(y) - radius_mm).abs()
        }
    }
}

fn radial(azimuth_deg: f64, radii_mm: [f64; 2]) -> Border {
    let (sin, cos) = (azimuth_deg * DEG).sin_cos();
    Border::Radial {
        outward: [cos, sin],
        radii_mm,
    }
}

fn borders(design: &MaskDesign) -> Vec<Border> {
    let (inner, outer) = (
        0.5 * design.inner_diameter_m / MM,
        0.5 * design.outer_diameter_m / MM,
    );
    let all_round = |degrees: &[f64], radii_mm: [f64; 2]| -> Vec<Border> {
        degrees.iter().map(|a| radial(*a, radii_mm)).collect()
    };
    let zone = design
        .zone_radius_m
        .map_or(0.5 * (inner + outer), |r| r / MM);
    let between_zones = Border::Circle {
        radius_mm: zone,
        from_deg: 0.0,
        width_deg: 360.0,
    };
    let sixths = [0.0, 60.0, 120.0, 180.0, 240.0, 300.0];
    match (&design.layout, design.layout.name().word()) {
        (_, "one-triplet") => all_round(&[0.0, 180.0, 270.0], [inner, outer]),
        (_, "three-triplet") => all_round(
            &[0.0, 30.0, 60.0, 120.0, 150.0, 180.0, 240.0, 270.0, 300.0],
            [inner, outer],
        ),
        (_, "two-zone" | "two-pitch") => {
            let twelfths: Vec<f64> = (0..12).map(|k| 30.0 * f64::from(k)).collect();
            let mut all = all_round(&sixths, [zone, outer]);
            all.extend(all_round(&twelfths, [inner, zone]));
            all.push(between_zones);
            all
        }
        (_, "tangent-wedges") => {
            let mut all = all_round(&sixths, [inner, outer]);
            all.push(between_zones);
            all
        }
        (MaskLayout::Holes(_), _) => vec![],
        (MaskLayout::Regions(list), _) => list
            .iter()
            .flat_map(|r| own_borders(r, inner, outer))
            .collect(),
        (other, _) => unreachable!("this twin does not know {other:?}"),
    }
}

/// The borders of one region of an owner's own list, but for those that are the plate's edges.
fn own_borders(region: &RegionSpec, inner: f64, outer: f64) -> Vec<Border> {
    let radii_mm = region.radius_m.map(|r| r / MM);
    let [from_deg, to_deg] = region.azimuth_rad.map(|a| a / DEG);
    let width_deg = to_deg - from_deg;
    let mut all = Vec::new();
    if width_deg < 360.0 - 1e-6 {
        all.extend([from_deg, to_deg].map(|a| radial(a, radii_mm)));
    }
    for radius_mm in radii_mm {
        if radius_mm > inner + 1e-6 && radius_mm < outer - 1e-6 {
            all.push(Border::Circle {
                radius_mm,
                from_deg,
                width_deg,
            });
        }
    }
    all
}

/// The slots at a point of the plate, given by radius and azimuth.
fn slots_at(design: &MaskDesign, radius_mm: f64, azimuth_deg: f64) -> Option<Slots> {
    let s = design.slant_rad / DEG * design.sense;
    let first = design.slot_pitch_m[0] / MM;
    let last = design.slot_pitch_m[design.slot_pitch_m.len() - 1] / MM;
    let slots = |along_deg: f64, pitch_mm: f64| {
        Some(Slots {
            along_deg,
            pitch_mm,
            open_fraction: design.open_fraction,
        })
    };
    let from = |start: f64| (azimuth_deg - start).rem_euclid(360.0);
    let (inner, outer) = (
        0.5 * design.inner_diameter_m / MM,
        0.5 * design.outer_diameter_m / MM,
    );
    let zone = design
        .zone_radius_m
        .map_or(0.5 * (inner + outer), |r| r / MM);
    match (&design.layout, design.layout.name().word()) {
        (_, "one-triplet") => match azimuth_deg {
            a if a < 180.0 => slots(90.0, first),
            a if a < 270.0 => slots(90.0 + s, first),
            _ => slots(90.0 - s, first),
        },
        (_, "three-triplet") => [90.0, 210.0, 330.0].into_iter().find_map(|c| {
            if from(c - 30.0) < 60.0 {
                slots(c, first)
            } else if from(c + 180.0) < 30.0 {
                slots(c + s, first)
            } else if from(c + 150.0) < 30.0 {
                slots(c - s, first)
            } else {
                None
            }
        }),
        (_, word @ ("two-zone" | "two-pitch")) => {
            let opposite = if word == "two-pitch" { last } else { first };
            [90.0, 210.0, 330.0].into_iter().find_map(|c| {
                if radius_mm > zone {
                    let wedges = [(c - 30.0, first), (c + 150.0, opposite)];
                    let (_, pitch) = wedges.into_iter().find(|(start, _)| from(*start) < 60.0)?;
                    slots(c, pitch)
                } else if from(c + 60.0) < 30.0 || from(c - 90.0) < 30.0 {
                    slots(c + s, last)
                } else if from(c + 90.0) < 30.0 || from(c - 120.0) < 30.0 {
                    slots(c - s, last)
                } else {
                    None
                }
            })
        }
        (_, "tangent-wedges") => {
            // six wedges from azimuth 0 on; along the tangent is a right angle on from a wedge's middle
            let middle = 60.0 * (azimuth_deg / 60.0).floor() + 30.0;
            slots(middle + 90.0, if radius_mm > zone { first } else { last })
        }
        (MaskLayout::Holes(_), _) => None,
        (MaskLayout::Regions(list), _) => list.iter().find_map(|region| {
            let [start, end] = region.azimuth_rad.map(|a| a / DEG);
            let [low, high] = region.radius_m.map(|r| r / MM);
            let inside = from(start) < end - start && (low..high).contains(&radius_mm);
            inside.then(|| Slots {
                along_deg: region.slot_rad / DEG,
                pitch_mm: region.pitch_m / MM,
                open_fraction: region.open_fraction,
            })
        }),
        other => unreachable!("this twin does not know {other:?}"),
    }
}
