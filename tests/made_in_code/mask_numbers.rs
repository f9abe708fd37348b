//! Every number of a mask, for [`numbers`](super::numbers).

use super::numbers::{Named, named};
use skewstar::instrument::*;

pub fn of_mask(design: &mut MaskDesign) -> Vec<Named<'_>> {
    let MaskDesign {
        layout,
        slot_pitch_m,
        open_fraction,
        slant_rad,
        sense,
        outer_diameter_m,
        inner_diameter_m,
        outer_rim_m,
        inner_rim_m,
        rib_m,
        zone_radius_m,
        thickness_m,
        rotation_rad,
        offset_m: [x, y],
        distance_m,
        grip,
        printer,
    } = design;
    let mut all = named(
        "mask",
        [
            ("open_fraction", open_fraction),
            ("slant_deg", slant_rad),
            ("sense", sense),
            ("outer_diameter_mm", outer_diameter_m),
            ("inner_diameter_mm", inner_diameter_m),
            ("outer_rim_mm", outer_rim_m),
            ("inner_rim_mm", inner_rim_m),
            ("rib_mm", rib_m),
            ("thickness_mm", thickness_m),
            ("rotation_deg", rotation_rad),
            ("offset_mm", x),
            ("offset_mm", y),
            ("distance_mm", distance_m),
        ],
    );
    for pitch_m in slot_pitch_m {
        all.extend(named("mask", [("slot_pitch_mm", pitch_m)]));
    }
    for radius_m in zone_radius_m {
        all.extend(named("mask", [("zone_radius_mm", radius_m)]));
    }
    all.extend(of_layout(layout));
    for ring in grip {
        let Grip {
            over_tube: _,
            tube_diameter_m,
            clearance_m,
            wall_m,
            height_m,
            notch,
        } = ring;
        all.extend(named(
            "mask.grip",
            [
                ("tube_diameter_mm", tube_diameter_m),
                ("clearance_mm", clearance_m),
                ("wall_mm", wall_m),
                ("height_mm", height_m),
            ],
        ));
        for (azimuth_rad, width_m) in notch {
            let gap = [
                ("notch_azimuth_deg", azimuth_rad),
                ("notch_width_mm", width_m),
            ];
            all.extend(named("mask.grip", gap));
        }
    }
    let Printer {
        nozzle_m,
        bed_m: [width, depth],
        least_bar_m,
        density_kg_per_m3,
        flow_m3_per_s,
        engraving_m,
    } = printer;
    all.extend(named(
        "mask.print",
        [
            ("nozzle_mm", nozzle_m),
            ("bed_mm", width),
            ("bed_mm", depth),
            ("least_bar_mm", least_bar_m),
            ("density_g_per_cm3", density_kg_per_m3),
            ("flow_mm3_per_s", flow_m3_per_s),
            ("engraving_mm", engraving_m),
        ],
    ));
    all
}

fn of_layout(layout: &mut MaskLayout) -> Vec<Named<'_>> {
    let mut all = Vec::new();
    match layout {
        MaskLayout::Holes(holes) => {
            for (index, hole) in holes.iter_mut().enumerate() {
                let HoleSpec {
                    radius_m,
                    azimuth_rad,
                    diameter_m,
                } = hole;
                all.extend(named(
                    &format!("mask.holes[{index}]"),
                    [
                        ("radius_mm", radius_m),
                        ("azimuth_deg", azimuth_rad),
                        ("diameter_mm", diameter_m),
                    ],
                ));
            }
        }
        MaskLayout::Regions(regions) => {
            for (index, region) in regions.iter_mut().enumerate() {
                let RegionSpec {
                    azimuth_rad: [from, to],
                    radius_m: [inner, outer],
                    slot_rad,
                    pitch_m,
                    open_fraction,
                } = region;
                all.extend(named(
                    &format!("mask.regions[{index}]"),
                    [
                        ("azimuth_deg", from),
                        ("azimuth_deg", to),
                        ("radius_mm", inner),
                        ("radius_mm", outer),
                        ("slot_deg", slot_rad),
                        ("pitch_mm", pitch_m),
                        ("open_fraction", open_fraction),
                    ],
                ));
            }
        }
        MaskLayout::Drawing(drawing) => {
            let corners = drawing.openings_m.iter_mut().flatten().flatten();
            all.extend(corners.map(|number| ("mask.drawing.openings_mm".to_owned(), number)));
            let centre = drawing.centre_m.iter_mut().flatten();
            all.extend(centre.map(|number| ("mask.drawing_centre_mm".to_owned(), number)));
        }
        MaskLayout::Slots(_) => {}
    }
    all
}
