//! `[mask.grip]`, `[mask.camera]`, `[mask.cable_slit]`, `[mask.tabs]`, and the sizes of a plate that follow from them.

use crate::instrument::{CableSlit, CameraBody, Grip, LEDGE_M, Plugs, Seat, Tabs};
use crate::scenario::advice::missing;
use crate::scenario::error::{Problem, number};
use crate::scenario::findings::Contradictions;
use crate::scenario::raw::{
    RawCableSlit, RawCameraBody, RawFit, RawGrip, RawMask, RawShape, RawTabs, RawTelescope,
};
use crate::units::{DEG, MM};

/// Rims that are worked out are at least so wide: one that holds the bars (common practice, no source).
const LEAST_RIM_MM: f64 = 3.0;
/// Plate kept between a ring inside the tube and the slots.
const BESIDE_RING_MM: f64 = 0.5;
/// Slack of lengths in mm that were typed as decimals.
const ROUNDING_MM: f64 = 1e-9;

/// Diameters and rims of a plate, as typed or as they follow from tube, camera, aperture and obstruction.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Sizes {
    pub outer_diameter_mm: f64,
    pub inner_diameter_mm: f64,
    pub outer_rim_mm: f64,
    pub inner_rim_mm: f64,
}

/// What is left out and cannot be worked out either.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Lacking {
    OuterDiameter,
    InnerDiameter,
}

impl Lacking {
    pub fn key_and_reason(self) -> (&'static str, &'static str) {
        match self {
            Lacking::OuterDiameter => (
                "mask.outer_diameter_mm",
                "there is no [mask.grip] with the tube that it would follow from",
            ),
            Lacking::InnerDiameter => (
                "mask.inner_diameter_mm",
                "there is no [mask.camera] that it would follow from",
            ),
        }
    }
}

impl Sizes {
    /// Those of a mask. An outer diameter that is left out covers the tube's end (a tube that the plate goes into, and the ledge); a hole that
    /// is left out clears the camera by its air; the rims that go with them reach to the clear aperture and to the obstruction's edge.
    pub fn of(mask: &RawMask, telescope: &RawTelescope) -> Result<Sizes, Lacking> {
        let (outer_diameter_mm, outer_rim_mm) = match (mask.outer_diameter_mm, &mask.grip) {
            (Some(typed_mm), _) => (typed_mm, 0.0),
            (None, Some(ring)) => {
                let over_mm = match ring.fit {
                    RawFit::IntoTube => 2.0 * LEDGE_M / MM,
                    RawFit::OverTube | RawFit::DewShield => 0.0,
                };
                let diameter_mm = ring.tube_diameter_mm + over_mm;
                let lit_mm = 0.5 * telescope.aperture_mm;
                let inside_mm = grip(ring).inside_m().map(|m| m / MM - BESIDE_RING_MM);
                let slots_mm = inside_mm.map_or(lit_mm, |mm| mm.min(lit_mm));
                (
                    diameter_mm,
                    (0.5 * diameter_mm - slots_mm).max(LEAST_RIM_MM),
                )
            }
            (None, None) => return Err(Lacking::OuterDiameter),
        };
        let (inner_diameter_mm, inner_rim_mm) = match (mask.inner_diameter_mm, &mask.camera) {
            (Some(typed_mm), _) => (typed_mm, 0.0),
            (None, Some(body)) => {
                let hole_mm = body.diameter_mm + 2.0 * body.air_mm;
                let shadow_mm = telescope
                    .obstruction
                    .as_ref()
                    .map_or(0.0, |o| o.diameter_mm);
                (hole_mm, (0.5 * (shadow_mm - hole_mm)).max(LEAST_RIM_MM))
            }
            (None, None) => return Err(Lacking::InnerDiameter),
        };
        Ok(Sizes {
            outer_diameter_mm,
            inner_diameter_mm,
            outer_rim_mm: mask.outer_rim_mm.unwrap_or(outer_rim_mm),
            inner_rim_mm: mask.inner_rim_mm.unwrap_or(inner_rim_mm),
        })
    }
}

pub(super) fn check(mask: &RawMask, findings: &mut Contradictions<'_>) {
    if let Some(grip) = &mask.grip {
        check_grip(grip, findings);
    }
    if let Some(camera) = &mask.camera {
        check_camera(camera, findings);
    }
    if let Some(tabs) = &mask.tabs {
        check_tabs(tabs, findings);
    }
}

pub(super) fn grip(grip: &RawGrip) -> Grip {
    let width_mm = grip.notch_width_mm.unwrap_or(10.0);
    Grip {
        seat: match grip.fit {
            RawFit::OverTube => Seat::OverTube,
            RawFit::IntoTube => Seat::IntoTube,
            RawFit::DewShield => Seat::DewShield {
                shield_wall_m: grip.shield_wall_mm.unwrap_or(0.0) * MM,
            },
        },
        tube_diameter_m: grip.tube_diameter_mm * MM,
        clearance_m: grip.clearance_mm * MM,
        wall_m: grip.wall_mm * MM,
        height_m: grip.height_mm * MM,
        notch: grip
            .notch_azimuth_deg
            .map(|azimuth_deg| (azimuth_deg * DEG, width_mm * MM)),
        feet_m: grip.feet_mm * MM,
    }
}

pub(super) fn camera(body: &RawCameraBody) -> CameraBody {
    CameraBody {
        diameter_m: body.diameter_mm * MM,
        square: body.shape == RawShape::Square,
        turned_rad: body.turned_deg * DEG,
        air_m: body.air_mm * MM,
        stands_out_m: body.stands_out_mm * MM,
        plugs: body.plugs_azimuth_deg.map(|azimuth_deg| Plugs {
            azimuth_rad: azimuth_deg * DEG,
            width_m: body.plugs_width_mm.unwrap_or(20.0) * MM,
            reach_m: body.plugs_reach_mm.unwrap_or(15.0) * MM,
        }),
    }
}

pub(super) fn slit(slit: &RawCableSlit) -> CableSlit {
    CableSlit {
        azimuth_rad: slit.azimuth_deg.map(|azimuth_deg| azimuth_deg * DEG),
        width_m: slit.width_mm * MM,
        cheek_m: slit.cheek_mm * MM,
    }
}

pub(super) fn tabs(tabs: &RawTabs) -> Tabs {
    Tabs {
        azimuths_rad: tabs.azimuth_deg.iter().map(|deg| deg * DEG).collect(),
        width_m: tabs.width_mm * MM,
        reach_m: tabs.reach_mm * MM,
        tether_hole_m: tabs.tether_hole_mm * MM,
    }
}

/// A ring that fits the tube: room inside it, a gap narrower than itself, and a gap's width only with a gap.
fn check_grip(grip: &RawGrip, findings: &mut Contradictions<'_>) {
    let needs_wall = grip.fit == RawFit::DewShield;
    match grip.shield_wall_mm {
        None if needs_wall => findings.missing_from("mask.grip", || {
            missing(
                "mask.grip.shield_wall_mm",
                Some("mask.grip.fit is \"dew-shield\""),
            )
        }),
        Some(_) if !needs_wall => {
            let key = "mask.grip.shield_wall_mm";
            let problem = Problem::NoMeaning {
                key: key.to_owned(),
                condition: "unless mask.grip.fit is \"dew-shield\"".to_owned(),
            };
            findings.wrong_key(key, problem, "take it out, or write fit = \"dew-shield\"");
        }
        _ => {}
    }
    let shield_mm = grip.shield_wall_mm.unwrap_or(0.0);
    let inner_mm = 0.5 * grip.tube_diameter_mm - shield_mm - grip.clearance_mm - grip.wall_mm;
    if grip.fit != RawFit::OverTube && inner_mm <= 0.0 {
        findings.out_of_range(
            "mask.grip.wall_mm",
            number(grip.wall_mm),
            format!(
                "smaller than the tube's radius less the clearance ({})",
                number(inner_mm + grip.wall_mm)
            ),
            "2 mm is a common wall",
        );
    }
    match (grip.notch_azimuth_deg, grip.notch_width_mm) {
        (None, Some(_)) => {
            let key = "mask.grip.notch_width_mm";
            let condition = "without mask.grip.notch_azimuth_deg".to_owned();
            let problem = Problem::NoMeaning {
                key: key.to_owned(),
                condition,
            };
            findings.wrong_key(
                key,
                problem,
                "say where the gap for cables is: notch_azimuth_deg = 208.0",
            );
        }
        (Some(_), Some(width_mm)) if width_mm >= grip.tube_diameter_mm => findings.out_of_range(
            "mask.grip.notch_width_mm",
            number(width_mm),
            format!(
                "smaller than mask.grip.tube_diameter_mm ({})",
                number(grip.tube_diameter_mm)
            ),
            "it is the gap in the ring through which cables pass",
        ),
        _ => {}
    }
}

/// Plugs have a width and a reach only where they have a place.
fn check_camera(body: &RawCameraBody, findings: &mut Contradictions<'_>) {
    let sizes = [
        ("mask.camera.plugs_width_mm", body.plugs_width_mm),
        ("mask.camera.plugs_reach_mm", body.plugs_reach_mm),
    ];
    for (key, size) in sizes {
        if size.is_some() && body.plugs_azimuth_deg.is_none() {
            let problem = Problem::NoMeaning {
                key: key.to_owned(),
                condition: "without mask.camera.plugs_azimuth_deg".to_owned(),
            };
            let hint = "say where the plugs are: plugs_azimuth_deg = 208.0";
            findings.wrong_key(key, problem, hint);
        }
    }
    if body.turned_deg != 0.0 && body.shape == RawShape::Round {
        let problem = Problem::NoMeaning {
            key: "mask.camera.turned_deg".to_owned(),
            condition: "with a round camera".to_owned(),
        };
        let hint = "take it out, or write mask.camera.shape = \"square\"";
        findings.wrong_key("mask.camera.turned_deg", problem, hint);
    }
}

/// A tether's hole lies inside its tab, with plastic round it.
fn check_tabs(tabs: &RawTabs, findings: &mut Contradictions<'_>) {
    const ROUND_HOLE_MM: f64 = 2.0;
    let most_mm = tabs.width_mm.min(tabs.reach_mm) - 2.0 * ROUND_HOLE_MM;
    if tabs.tether_hole_mm > most_mm.max(0.0) + ROUNDING_MM {
        findings.out_of_range(
            "mask.tabs.tether_hole_mm",
            number(tabs.tether_hole_mm),
            format!(
                "at most {} with this width and reach of a tab, 0 for none",
                number(most_mm.max(0.0))
            ),
            "the hole keeps 2 mm of plastic all round; widen mask.tabs.width_mm and mask.tabs.reach_mm",
        );
    }
}
