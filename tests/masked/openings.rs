//! Whether a point of the pupil is open, from the words that describe the masks and from nothing else.
//!
//! "The mask is an opaque plate between its inner and outer diameter, open in its slots only; light that passes beside the
//! plate does reach the star. A slot angle is the direction *along* the slot. In every region one slot is centred on the line
//! through the mask's centre. Slots stop at the rims and at ribs centred on the borders between regions (zones included)."
//! The layouts' angles are typed here again, in degrees, as azimuth → slot angle; the engine lists regions instead.

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
    /// From one radius to another at an azimuth.
    Radial {
        azimuth_deg: f64,
        radii_mm: [f64; 2],
    },
    /// At a radius, over a range of azimuths (from, width).
    Circle {
        radius_mm: f64,
        from_deg: f64,
        width_deg: f64,
    },
}

/// Whether light passes at a point of the pupil (metres, pupil axes).
pub fn is_open(instrument: &Instrument, state: &State, place_m: [f64; 2]) -> bool {
    let telescope = &instrument.telescope;
    let [x, y] = place_m.map(|v| v / MM);
    if x.hypot(y) > 0.5 * telescope.aperture_m / MM {
        return false;
    }
    let seen_moved = |distance_m: f64| {
        state
            .field_m
            .map(|h| distance_m * h / telescope.focal_length_m / MM)
    };
    if let Some(obstruction) = &telescope.obstruction {
        let moved = seen_moved(obstruction.distance_m);
        let dx = x - obstruction.offset_m[0] / MM - moved[0];
        let dy = y - obstruction.offset_m[1] / MM - moved[1];
        let size = match obstruction.shape {
            ObstructionShape::Round => dx.hypot(dy),
            ObstructionShape::Square => dx.abs().max(dy.abs()),
        };
        if size < 0.5 * obstruction.diameter_m / MM {
            return false;
        }
    }
    if telescope.vanes.iter().any(|vane| behind_vane(vane, x, y)) {
        return false;
    }
    match instrument.mask.as_ref().filter(|_| state.mask_on) {
        None => true,
        Some(design) => {
            let moved = seen_moved(design.distance_m);
            let dx = x - design.offset_m[0] / MM - moved[0];
            let dy = y - design.offset_m[1] / MM - moved[1];
            let azimuth_deg = dy.atan2(dx) / DEG - design.rotation_rad / DEG;
            plate_is_open(design, dx.hypot(dy), azimuth_deg.rem_euclid(360.0))
        }
    }
}

fn behind_vane(vane: &Vane, x: f64, y: f64) -> bool {
    let (sin, cos) = vane.azimuth_rad.sin_cos();
    let (along, left) = (x * cos + y * sin, y * cos - x * sin);
    (left - vane.offset_m / MM).abs() < 0.5 * vane.width_m / MM
        && along > vane.inner_radius_m / MM
        && along < vane.outer_radius_m / MM
}

fn plate_is_open(design: &MaskDesign, radius_mm: f64, azimuth_deg: f64) -> bool {
    let (inner, outer) = (
        0.5 * design.inner_diameter_m / MM,
        0.5 * design.outer_diameter_m / MM,
    );
    if radius_mm > outer || radius_mm < inner {
        return true; // beside the plate, or through its hole
    }
    let (x, y) = (
        radius_mm * (azimuth_deg * DEG).cos(),
        radius_mm * (azimuth_deg * DEG).sin(),
    );
    if let MaskLayout::Holes(holes) = &design.layout {
        return holes.iter().any(|hole| {
            let dx = x - hole.radius_m / MM * hole.azimuth_rad.cos();
            let dy = y - hole.radius_m / MM * hole.azimuth_rad.sin();
            dx.hypot(dy) < 0.5 * hole.diameter_m / MM
        });
    }
    let under_rim =
        radius_mm > outer - design.outer_rim_m / MM || radius_mm < inner + design.inner_rim_m / MM;
    let half_rib = 0.5 * design.rib_m / MM;
    if under_rim
        || borders(design)
            .iter()
            .any(|b| distance_mm(b, x, y) < half_rib)
    {
        return false;
    }
    let Some(slots) = slots_at(design, radius_mm, azimuth_deg) else {
        return false;
    };
    let (sin, cos) = (slots.along_deg * DEG).sin_cos();
    let from_centre_line = y * cos - x * sin;
    let from_nearest =
        from_centre_line - slots.pitch_mm * (from_centre_line / slots.pitch_mm).round();
    from_nearest.abs() < 0.5 * slots.open_fraction * slots.pitch_mm
}

/// Distance from a border, square ends: infinite beside its ends.
fn distance_mm(border: &Border, x: f64, y: f64) -> f64 {
    match *border {
        Border::Radial {
            azimuth_deg,
            radii_mm,
        } => {
            let (sin, cos) = (azimuth_deg * DEG).sin_cos();
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
            if (y.atan2(x) / DEG - from_deg).rem_euclid(360.0) > width_deg {
                return f64::INFINITY;
            }
            (x.hypot(y) - radius_mm).abs()
        }
    }
}

fn borders(design: &MaskDesign) -> Vec<Border> {
    let (inner, outer) = (
        0.5 * design.inner_diameter_m / MM,
        0.5 * design.outer_diameter_m / MM,
    );
    let radial = |degrees: &[f64], radii_mm: [f64; 2]| -> Vec<Border> {
        degrees
            .iter()
            .map(|&azimuth_deg| Border::Radial {
                azimuth_deg,
                radii_mm,
            })
            .collect()
    };
    match &design.layout {
        MaskLayout::OneTriplet => radial(&[0.0, 180.0, 270.0], [inner, outer]),
        MaskLayout::ThreeTriplet => radial(
            &[0.0, 30.0, 60.0, 120.0, 150.0, 180.0, 240.0, 270.0, 300.0],
            [inner, outer],
        ),
        MaskLayout::TwoZone => {
            let zone = design
                .zone_radius_m
                .map_or(0.5 * (inner + outer), |r| r / MM);
            let sixths = [0.0, 60.0, 120.0, 180.0, 240.0, 300.0];
            let twelfths: Vec<f64> = (0..12).map(|k| 30.0 * f64::from(k)).collect();
            let mut all = radial(&sixths, [zone, outer]);
            all.extend(radial(&twelfths, [inner, zone]));
            all.push(Border::Circle {
                radius_mm: zone,
                from_deg: 0.0,
                width_deg: 360.0,
            });
            all
        }
        MaskLayout::Holes(_) => vec![],
        MaskLayout::Regions(list) => list
            .iter()
            .flat_map(|r| own_borders(r, inner, outer))
            .collect(),
    }
}

/// The borders of one region of an owner's own list, but for those that are the plate's edges.
fn own_borders(region: &RegionSpec, inner: f64, outer: f64) -> Vec<Border> {
    let radii_mm = region.radius_m.map(|r| r / MM);
    let [from_deg, to_deg] = region.azimuth_rad.map(|a| a / DEG);
    let width_deg = to_deg - from_deg;
    let mut all = Vec::new();
    if width_deg < 360.0 - 1e-6 {
        all.extend([from_deg, to_deg].map(|azimuth_deg| Border::Radial {
            azimuth_deg,
            radii_mm,
        }));
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
    match &design.layout {
        MaskLayout::OneTriplet => match azimuth_deg {
            a if a < 180.0 => slots(90.0, first),
            a if a < 270.0 => slots(90.0 + s, first),
            _ => slots(90.0 - s, first),
        },
        MaskLayout::ThreeTriplet => [90.0, 210.0, 330.0].into_iter().find_map(|c| {
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
        MaskLayout::TwoZone => {
            let (inner, outer) = (
                0.5 * design.inner_diameter_m / MM,
                0.5 * design.outer_diameter_m / MM,
            );
            let zone = design
                .zone_radius_m
                .map_or(0.5 * (inner + outer), |r| r / MM);
            [90.0, 210.0, 330.0].into_iter().find_map(|c| {
                if radius_mm > zone {
                    let straight = from(c - 30.0) < 60.0 || from(c + 150.0) < 60.0;
                    straight.then(|| slots(c, first)).flatten()
                } else if from(c + 60.0) < 30.0 || from(c - 90.0) < 30.0 {
                    slots(c + s, last)
                } else if from(c + 90.0) < 30.0 || from(c - 120.0) < 30.0 {
                    slots(c - s, last)
                } else {
                    None
                }
            })
        }
        MaskLayout::Holes(_) => None,
        MaskLayout::Regions(list) => list.iter().find_map(|region| {
            let [start, end] = region.azimuth_rad.map(|a| a / DEG);
            let [low, high] = region.radius_m.map(|r| r / MM);
            let inside = from(start) < end - start && (low..high).contains(&radius_mm);
            inside.then(|| Slots {
                along_deg: region.slot_rad / DEG,
                pitch_mm: region.pitch_m / MM,
                open_fraction: region.open_fraction,
            })
        }),
    }
}
