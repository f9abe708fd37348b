"""The invented telescopes of the references, in the words and units of a scenario file.

Nothing is computed here. Parameters are deliberately ugly (no square frames, no whole wavelengths of anything) so that a
swapped axis, a lost sign or a forgotten term shows. Outlines and wavefronts are read from these by outlines.py and
wavefront.py.
"""

FRAME_550 = {"pixel_um": 3.8, "passband_nm": [545.0, 555.0], "wavelengths": 1}

REFLECTOR = {"aperture_mm": 190.0, "focal_length_mm": 456.0, "focus_law": "sine"}

DECENTRED = {"diameter_mm": 81.0, "offset_mm": [1.1, -0.7], "shape": "round", "distance_mm": 0.0}

DOUGHNUT_MODES_NM = {"5": 20.0, "6": -35.0, "7": 55.0, "8": -80.0, "9": 15.0, "11": 30.0}

DOUGHNUT = {
    "format": 1,
    "title": "Doughnut inside focus, decentred obstruction, seven aberrations",
    "telescope": {**REFLECTOR, "obstruction": DECENTRED},
    "camera": {**FRAME_550, "width_px": 52, "height_px": 46},
    "state": {"sensor_offset_um": -260.0, "modes_nm": DOUGHNUT_MODES_NM},
}

POLYCHROMATIC = {
    "format": 1,
    "title": "Doughnut outside focus in three wavelengths, with one vane",
    "telescope": {
        **REFLECTOR,
        "obstruction": DECENTRED,
        "vanes": [
            {"azimuth_deg": 208.0, "width_mm": 6.0, "inner_radius_mm": 40.5, "outer_radius_mm": 95.0, "offset_mm": 0.0}
        ],
    },
    "camera": {"pixel_um": 3.8, "passband_nm": [480.0, 620.0], "wavelengths": 3, "width_px": 46, "height_px": 42},
    "state": {"sensor_offset_um": 200.0, "modes_nm": DOUGHNUT_MODES_NM},
}

MASKED = {
    "format": 1,
    "title": "Three-triplet mask near focus, coma along x and a little Noll 4",
    "telescope": {
        **REFLECTOR,
        "obstruction": {"diameter_mm": 81.0, "offset_mm": [0.0, 0.0], "shape": "round", "distance_mm": 0.0},
    },
    "mask": {
        "layout": "three-triplet",
        "slot_pitch_mm": 6.8,
        "open_fraction": 0.5,
        "slant_deg": 20.0,
        "sense": 1,
        "outer_diameter_mm": 188.0,
        "inner_diameter_mm": 84.0,
        "outer_rim_mm": 4.0,
        "inner_rim_mm": 3.0,
        "rib_mm": 2.0,
        "thickness_mm": 2.4,
        "rotation_deg": 0.0,
        "offset_mm": [0.0, 0.0],
        "distance_mm": 0.0,
    },
    "camera": {**FRAME_550, "width_px": 96, "height_px": 96},
    "state": {"sensor_offset_um": 0.0, "mask_on": True, "modes_nm": {"4": 40.0, "8": 90.0}},
}

SEEING = {
    **DOUGHNUT,
    "title": "The doughnut inside focus through long-exposure seeing",
    "camera": {**FRAME_550, "width_px": 60, "height_px": 54},
    "star": {"magnitude": 2.3, "temperature_k": 6200.0, "altitude_deg": 57.0},
    "sky": {"seeing_arcsec": 2.1},
}

FOCUSED = {
    "format": 1,
    "title": "Clear aperture in focus, astigmatism and trefoil",
    "telescope": {"aperture_mm": 80.0, "focal_length_mm": 480.0, "reflections": 0, "focus_law": "sine"},
    "camera": {"pixel_um": 1.7, "passband_nm": [595.0, 605.0], "wavelengths": 1, "width_px": 48, "height_px": 48},
    "state": {"sensor_offset_um": 0.0, "modes_nm": {"6": 60.0, "10": -40.0}},
}

MEASURED_CAMERA = {"pixel_um": 3.8, "passband_nm": [480.0, 620.0], "wavelengths": 5}
MEASURED_NIGHT = {
    "star": {"magnitude": 2.3, "temperature_k": 6200.0, "altitude_deg": 57.0},
    "sky": {"seeing_arcsec": 2.1},
}
MEASURED_TELESCOPE = {
    **REFLECTOR,
    "obstruction": {"diameter_mm": 81.0, "offset_mm": [0.0, 0.0], "shape": "round", "distance_mm": 0.0},
    "vanes": POLYCHROMATIC["telescope"]["vanes"],
}
MEASURED_MODES_NM = {"5": 25.0, "6": -35.0, "7": 65.0, "8": -110.0}

MEASURED_INSIDE = {
    "format": 1,
    "title": "Photons of a doughnut inside focus, coma and astigmatism, one vane",
    "telescope": MEASURED_TELESCOPE,
    "camera": {**MEASURED_CAMERA, "width_px": 84, "height_px": 80},
    "state": {"sensor_offset_um": -530.0, "modes_nm": MEASURED_MODES_NM},
    **MEASURED_NIGHT,
}

MEASURED_OUTSIDE = {
    **MEASURED_INSIDE,
    "title": "Photons of the same star outside focus",
    "camera": {**MEASURED_CAMERA, "width_px": 76, "height_px": 72},
    "state": {"sensor_offset_um": 460.0, "modes_nm": MEASURED_MODES_NM},
}

MEASURED_MASKED = {
    "format": 1,
    "title": "Photons of a star through a three-triplet mask, coma and a little focus",
    "telescope": MASKED["telescope"],
    "mask": MASKED["mask"],
    "camera": {**MEASURED_CAMERA, "width_px": 92, "height_px": 88},
    "state": {"sensor_offset_um": 6.0, "mask_on": True, "modes_nm": {"6": 20.0, "7": -70.0, "8": 60.0}},
    **MEASURED_NIGHT,
}


def wavelengths_nm(scenario):
    """Centres of the equal-width bins of the passband."""
    low_nm, high_nm = scenario["camera"]["passband_nm"]
    count = scenario["camera"]["wavelengths"]
    return [low_nm + (high_nm - low_nm) * (bin_index + 0.5) / count for bin_index in range(count)]
