//! Every number of an instrument and a state, to be changed: a new field does not compile until it is named here.

use skewstar::instrument::*;
use skewstar::state::{Exposure, Sky, Star, State};

/// A number and the path of its key; a pair is named by its key alone.
pub type Named<'a> = (String, &'a mut f64);

/// All numbers but the coefficients of modes.
pub fn numbers<'a>(instrument: &'a mut Instrument, state: &'a mut State) -> Vec<Named<'a>> {
    let Instrument {
        telescope,
        assembly,
        mask,
        camera,
    } = instrument;
    let mut all = Vec::new();
    all.extend(of_telescope(telescope));
    all.extend(assembly.iter_mut().flat_map(of_assembly));
    all.extend(mask.iter_mut().flat_map(of_mask));
    all.extend(of_camera(camera));
    all.extend(of_state(state));
    all
}

fn named<'a, const N: usize>(section: &str, numbers: [(&str, &'a mut f64); N]) -> Vec<Named<'a>> {
    numbers
        .into_iter()
        .map(|(key, number)| (format!("{section}.{key}"), number))
        .collect()
}

fn of_telescope(telescope: &mut Telescope) -> Vec<Named<'_>> {
    let Telescope {
        aperture_m,
        focal_length_m,
        reflections: _,
        focus_law: _,
        obstruction,
        vanes,
        design: _,
        chromatic,
        field,
        surfaces: _,
    } = telescope;
    let head = [
        ("aperture_mm", aperture_m),
        ("focal_length_mm", focal_length_m),
    ];
    let mut all = named("telescope", head);
    if let Some(disc) = obstruction {
        let Obstruction {
            diameter_m,
            offset_m: [x, y],
            shape: _,
            distance_m,
        } = disc;
        all.extend(named(
            "telescope.obstruction",
            [
                ("diameter_mm", diameter_m),
                ("offset_mm", x),
                ("offset_mm", y),
                ("distance_mm", distance_m),
            ],
        ));
    }
    for (index, vane) in vanes.iter_mut().enumerate() {
        let Vane {
            azimuth_rad,
            width_m,
            inner_radius_m,
            outer_radius_m,
            offset_m,
        } = vane;
        all.extend(named(
            &format!("telescope.vanes[{index}]"),
            [
                ("azimuth_deg", azimuth_rad),
                ("width_mm", width_m),
                ("inner_radius_mm", inner_radius_m),
                ("outer_radius_mm", outer_radius_m),
                ("offset_mm", offset_m),
            ],
        ));
    }
    for (index, point) in chromatic.iter_mut().enumerate() {
        let ChromaticPoint {
            wavelength_m,
            focus_m,
            modes: _,
        } = point;
        all.extend(named(
            &format!("telescope.chromatic[{index}]"),
            [("wavelength_nm", wavelength_m), ("focus_um", focus_m)],
        ));
    }
    let FieldTerms {
        axis_m,
        coma_per_m,
        secondary_coma_per_m,
        astigmatism_per_m2,
        curvature_per_m2,
        vignetting,
    } = field;
    let [x, y] = axis_m.xy_mut();
    all.extend(named(
        "telescope.field",
        [
            ("axis_mm", x),
            ("axis_mm", y),
            ("coma_nm_per_mm", coma_per_m),
            ("secondary_coma_nm_per_mm", secondary_coma_per_m),
            ("astigmatism_nm_per_mm2", astigmatism_per_m2),
            ("curvature_um_per_mm2", curvature_per_m2),
        ],
    ));
    if let Some(opening) = vignetting {
        let RoundStop {
            diameter_m,
            distance_m,
        } = opening;
        all.extend(named(
            "telescope.vignetting",
            [("diameter_mm", diameter_m), ("distance_mm", distance_m)],
        ));
    }
    all
}

fn of_assembly(unit: &mut Assembly) -> Vec<Named<'_>> {
    let Assembly {
        kind: _,
        screw_circle_radius_m,
        pitch_m_per_turn,
        clockwise: _,
        travel_m,
        backlash_turns,
        screws,
        response,
    } = unit;
    let mut all = named(
        "assembly",
        [
            ("screw_circle_radius_mm", screw_circle_radius_m),
            ("pitch_mm_per_turn", pitch_m_per_turn),
            ("backlash_turns", backlash_turns),
        ],
    );
    if let Some([shortest, longest]) = travel_m {
        let ends = [("travel_mm", shortest), ("travel_mm", longest)];
        all.extend(named("assembly", ends));
    }
    for (index, screw) in screws.iter_mut().enumerate() {
        let section = format!("assembly.screws[{index}]");
        all.extend(named(&section, [("azimuth_deg", &mut screw.azimuth_rad)]));
    }
    if let Some(response) = response {
        let Response {
            coma_m_per_rad,
            astigmatism_m_per_rad2,
            astigmatism_m_per_rad_m,
            image_shift_m_per_rad,
            focus_m_per_m,
            sensor_tilt_per_tilt,
            decentre_coma_m_per_m,
            decentre_image_shift_m_per_m,
            astigmatism_m_per_m_rad,
            decentre_astigmatism_m_per_m2,
            decentre_astigmatism_m_per_m_m,
            spacing_spherical_m_per_m,
            spacing_astigmatism_m_per_m_m2,
            secondary_coma_m_per_rad,
            decentre_secondary_coma_m_per_m,
            focus_m_per_rad2,
            focus_m_per_m_rad,
            decentre_focus_m_per_m2,
            decentre_sensor_tilt_rad_per_m,
        } = response;
        all.extend(named(
            "assembly.response",
            [
                ("coma_nm_per_arcmin", coma_m_per_rad),
                ("astigmatism_nm_per_arcmin2", astigmatism_m_per_rad2),
                ("astigmatism_nm_per_arcmin_mm", astigmatism_m_per_rad_m),
                ("image_shift_um_per_arcmin", image_shift_m_per_rad),
                ("focus_um_per_mm", focus_m_per_m),
                ("sensor_tilt_per_tilt", sensor_tilt_per_tilt),
                ("decentre_coma_nm_per_mm", decentre_coma_m_per_m),
                (
                    "decentre_image_shift_um_per_mm",
                    decentre_image_shift_m_per_m,
                ),
                ("astigmatism_nm_per_mm_arcmin", astigmatism_m_per_m_rad),
                (
                    "decentre_astigmatism_nm_per_mm2",
                    decentre_astigmatism_m_per_m2,
                ),
                (
                    "decentre_astigmatism_nm_per_mm_mm",
                    decentre_astigmatism_m_per_m_m,
                ),
                ("spacing_spherical_nm_per_mm", spacing_spherical_m_per_m),
                (
                    "spacing_astigmatism_nm_per_mm_mm2",
                    spacing_astigmatism_m_per_m_m2,
                ),
                ("secondary_coma_nm_per_arcmin", secondary_coma_m_per_rad),
                (
                    "decentre_secondary_coma_nm_per_mm",
                    decentre_secondary_coma_m_per_m,
                ),
                ("focus_um_per_arcmin2", focus_m_per_rad2),
                ("focus_um_per_mm_arcmin", focus_m_per_m_rad),
                ("decentre_focus_um_per_mm2", decentre_focus_m_per_m2),
                (
                    "decentre_sensor_tilt_arcmin_per_mm",
                    decentre_sensor_tilt_rad_per_m,
                ),
            ],
        ));
    }
    all
}

fn of_mask(design: &mut MaskDesign) -> Vec<Named<'_>> {
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
        camera,
        slit,
        tabs,
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
    if let Some(radius_m) = zone_radius_m {
        all.extend(named("mask", [("zone_radius_mm", radius_m)]));
    }
    all.extend(of_layout(layout));
    if let Some(ring) = grip {
        let Grip {
            seat,
            tube_diameter_m,
            clearance_m,
            wall_m,
            height_m,
            notch,
            feet_m,
        } = ring;
        all.extend(named(
            "mask.grip",
            [
                ("tube_diameter_mm", tube_diameter_m),
                ("clearance_mm", clearance_m),
                ("wall_mm", wall_m),
                ("height_mm", height_m),
                ("feet_mm", feet_m),
            ],
        ));
        if let Seat::DewShield { shield_wall_m } = seat {
            all.extend(named("mask.grip", [("shield_wall_mm", shield_wall_m)]));
        }
        if let Some((azimuth_rad, width_m)) = notch {
            let gap = [
                ("notch_azimuth_deg", azimuth_rad),
                ("notch_width_mm", width_m),
            ];
            all.extend(named("mask.grip", gap));
        }
    }
    all.extend(of_fit(camera, slit, tabs));
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

fn of_fit<'a>(
    camera: &'a mut Option<CameraBody>,
    slit: &'a mut Option<CableSlit>,
    tabs: &'a mut Option<Tabs>,
) -> Vec<Named<'a>> {
    let mut all = Vec::new();
    if let Some(CameraBody {
        diameter_m,
        square: _,
        turned_rad,
        air_m,
        stands_out_m,
        plugs,
    }) = camera
    {
        all.extend(named(
            "mask.camera",
            [
                ("diameter_mm", diameter_m),
                ("turned_deg", turned_rad),
                ("air_mm", air_m),
                ("stands_out_mm", stands_out_m),
            ],
        ));
        if let Some(Plugs {
            azimuth_rad,
            width_m,
            reach_m,
        }) = plugs
        {
            all.extend(named(
                "mask.camera",
                [
                    ("plugs_azimuth_deg", azimuth_rad),
                    ("plugs_width_mm", width_m),
                    ("plugs_reach_mm", reach_m),
                ],
            ));
        }
    }
    if let Some(CableSlit {
        azimuth_rad,
        width_m,
        cheek_m,
    }) = slit
    {
        if let Some(azimuth_rad) = azimuth_rad {
            all.extend(named("mask.cable_slit", [("azimuth_deg", azimuth_rad)]));
        }
        all.extend(named(
            "mask.cable_slit",
            [("width_mm", width_m), ("cheek_mm", cheek_m)],
        ));
    }
    if let Some(Tabs {
        azimuths_rad,
        width_m,
        reach_m,
        tether_hole_m,
    }) = tabs
    {
        for azimuth_rad in azimuths_rad {
            all.extend(named("mask.tabs", [("azimuth_deg", azimuth_rad)]));
        }
        all.extend(named(
            "mask.tabs",
            [
                ("width_mm", width_m),
                ("reach_mm", reach_m),
                ("tether_hole_mm", tether_hole_m),
            ],
        ));
    }
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
            let unit = drawing.unit_m.iter_mut();
            all.extend(unit.map(|number| ("mask.drawing_mm_per_unit".to_owned(), number)));
        }
        MaskLayout::Slots(_) => {}
    }
    all
}

fn of_camera(camera: &mut Camera) -> Vec<Named<'_>> {
    let Camera {
        pixel_m,
        width_px: _,
        height_px: _,
        rotation_rad,
        mirrored: _,
        orientation: _,
        passband,
        wavelengths: _,
        throughput,
        electronics,
        colour,
    } = camera;
    let mut all = named(
        "camera",
        [
            ("pixel_um", pixel_m),
            ("rotation_deg", rotation_rad),
            ("throughput", throughput),
        ],
    );
    all.extend(of_passband("camera", passband));
    if let Some(electronics) = electronics {
        let Electronics {
            quantum_efficiency,
            gain_e_per_adu,
            bias_adu,
            read_noise_e,
            dark_e_per_s,
            full_well_e,
            bits: _,
            pixel_response_rms,
        } = electronics;
        all.extend(named(
            "camera",
            [
                ("quantum_efficiency", quantum_efficiency),
                ("gain_e_per_adu", gain_e_per_adu),
                ("bias_adu", bias_adu),
                ("read_noise_e", read_noise_e),
                ("dark_e_per_s", dark_e_per_s),
                ("full_well_e", full_well_e),
                ("pixel_response_rms", pixel_response_rms),
            ],
        ));
    }
    if let Some(colour) = colour {
        for (name, filter) in ["red", "green", "blue"].iter().zip(&mut colour.passbands) {
            all.extend(of_passband(&format!("camera.passbands.{name}"), filter));
        }
    }
    all
}

fn of_passband<'a>(section: &str, passband: &'a mut Passband) -> Vec<Named<'a>> {
    match passband {
        Passband::Band([from, to]) => named(section, [("passband_nm", from), ("passband_nm", to)]),
        Passband::Table(points) => points
            .iter_mut()
            .flat_map(|(wavelength_m, transmission)| {
                named(
                    section,
                    [
                        ("passband_table", wavelength_m),
                        ("passband_table", transmission),
                    ],
                )
            })
            .collect(),
    }
}

fn of_state(state: &mut State) -> Vec<Named<'_>> {
    let State {
        sensor_offset_m,
        piston_moves_focus: _,
        recentred: _,
        place_px,
        aside_m,
        field_m,
        mask_on: _,
        turns,
        flexure_rad: [flexure_x, flexure_y],
        decentre_m: [decentre_x, decentre_y],
        sensor_tilt_rad: [lean_x, lean_y],
        spacing_m,
        modes: _,
        star,
        sky,
        exposure,
    } = state;
    let ([aside_x, aside_y], [field_x, field_y]) = (aside_m.xy_mut(), field_m.xy_mut());
    let [place_x, place_y] = place_px.xy_mut();
    let mut all = named(
        "state",
        [
            ("sensor_offset_um", sensor_offset_m),
            ("place_px", place_x),
            ("place_px", place_y),
            ("aside_mm", aside_x),
            ("aside_mm", aside_y),
            ("field_mm", field_x),
            ("field_mm", field_y),
            ("flexure_arcmin", flexure_x),
            ("flexure_arcmin", flexure_y),
            ("decentre_mm", decentre_x),
            ("decentre_mm", decentre_y),
            ("sensor_tilt_arcmin", lean_x),
            ("sensor_tilt_arcmin", lean_y),
            ("spacing_mm", spacing_m),
        ],
    );
    all.extend(
        turns
            .iter_mut()
            .map(|turn| ("state.turns".to_owned(), turn)),
    );
    if let Some(star) = star {
        let Star {
            magnitude,
            temperature_k,
            altitude_rad,
        } = star;
        all.extend(named(
            "star",
            [
                ("magnitude", magnitude),
                ("temperature_k", temperature_k),
                ("altitude_deg", altitude_rad),
            ],
        ));
    }
    let Sky {
        seeing_rad,
        wind_m_per_s,
        brightness_mag_per_arcsec2,
        extinction_mag_per_airmass,
        tracking_drift_px: [drift_x, drift_y],
        scintillation: _,
        site_height_m,
    } = sky;
    all.extend(named(
        "sky",
        [
            ("extinction_mag_per_airmass", extinction_mag_per_airmass),
            ("tracking_drift_px", drift_x),
            ("tracking_drift_px", drift_y),
            ("site_height_m", site_height_m),
        ],
    ));
    let given = [
        ("seeing_arcsec", seeing_rad),
        ("wind_m_per_s", wind_m_per_s),
        ("brightness_mag_per_arcsec2", brightness_mag_per_arcsec2),
    ];
    for (key, number) in given {
        let number = number.as_mut().map(|number| (format!("sky.{key}"), number));
        all.extend(number);
    }
    if let Some(Exposure { time_s }) = exposure {
        all.extend(named("exposure", [("time_s", time_s)]));
    }
    all
}
