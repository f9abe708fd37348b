"""Eight invented telescopes, f/1.8 to f/12, in the words and units of a scenario file. Every number is invented.

Between them: units at the prime focus, two mirrors, flats and lenses; 0 to 3 reflections; 0, 1, 3 and 4 vanes; clockwise
turns that lengthen and shorten; coma responses of both signs; screws at several azimuths; the four kinds of cell; two bare
paraboloids.
"""


def _vanes(azimuths_deg, width_mm, inner_mm, outer_mm):
    return [
        {"azimuth_deg": azimuth, "width_mm": width_mm, "inner_radius_mm": inner_mm, "outer_radius_mm": outer_mm}
        for azimuth in azimuths_deg
    ]


def _assembly(kind, radius_mm, pitch_mm, clockwise, azimuths_deg, coma, astigmatism, shift, backlash):
    return {
        "kind": kind,
        "screw_circle_radius_mm": radius_mm,
        "pitch_mm_per_turn": pitch_mm,
        "clockwise": clockwise,
        "backlash_turns": backlash,
        "screws": [{"name": name, "azimuth_deg": azimuth} for name, azimuth in zip("ABC", azimuths_deg)],
        "response": {
            "coma_nm_per_arcmin": coma,
            "astigmatism_nm_per_arcmin2": astigmatism,
            "image_shift_um_per_arcmin": shift,
            "focus_um_per_mm": 1000.0,
            "sensor_tilt_per_tilt": 0.0,
        },
    }


def _camera(pixel_um, gain, bias, read_noise, full_well, bits, passband):
    return {
        "pixel_um": pixel_um,
        "rotation_deg": 0.0,
        "mirrored": False,
        "passband_nm": list(passband),
        "quantum_efficiency": 0.8,
        "gain_e_per_adu": gain,
        "bias_adu": bias,
        "read_noise_e": read_noise,
        "full_well_e": full_well,
        "bits": bits,
    }


TELESCOPES = {
    "prime-18": {
        "telescope": {
            "aperture_mm": 236.0, "focal_length_mm": 425.0, "reflections": 1, "focus_law": "sine",
            "obstruction": {"diameter_mm": 108.0, "offset_mm": [0.0, 0.0]},
            "vanes": _vanes([247.0], 7.0, 52.0, 118.0),
        },
        "assembly": _assembly("push-pull", 62.0, 0.5, "lengthens", (90.0, 210.0, 330.0), 88.0, 0.6, 26.0, 0.02),
        "camera": _camera(3.8, 0.8, 500.0, 1.7, 48000.0, 16, (500.0, 610.0)),
    },
    "prime-24": {
        "telescope": {
            "aperture_mm": 168.0, "focal_length_mm": 403.0, "reflections": 1, "focus_law": "sine",
            "obstruction": {"diameter_mm": 69.0, "offset_mm": [0.0, 0.0]},
            "vanes": [],
        },
        "assembly": _assembly("push-pull", 51.0, 0.7, "shortens", (30.0, 150.0, 270.0), -44.0, 0.4, -23.0, 0.03),
        "camera": _camera(3.76, 0.75, 480.0, 1.5, 45000.0, 16, (480.0, 600.0)),
    },
    "paraboloid-3": {
        "telescope": {
            "aperture_mm": 203.0, "focal_length_mm": 615.0, "reflections": 1, "focus_law": "paraboloid",
            "obstruction": {"diameter_mm": 31.0, "offset_mm": [0.0, 0.0]},
            "vanes": _vanes([12.0, 132.0, 252.0], 3.0, 15.5, 101.5),
        },
        "assembly": _assembly("spring", 84.0, 0.8, "lengthens", (10.0, 130.0, 250.0), 31.0, 0.2, -178.0, 0.04),
        "camera": _camera(4.6, 1.2, 300.0, 2.6, 42000.0, 16, (490.0, 620.0)),
    },
    "newtonian-46": {
        "telescope": {
            "aperture_mm": 187.0, "focal_length_mm": 862.0, "reflections": 2, "focus_law": "paraboloid",
            "obstruction": {"diameter_mm": 53.0, "offset_mm": [0.0, 0.0]},
            "vanes": _vanes([20.0, 110.0, 200.0, 290.0], 1.5, 26.5, 93.5),
        },
        "assembly": _assembly("spring", 78.0, 1.0, "shortens", (90.0, 210.0, 330.0), -15.0, 0.1, 251.0, 0.05),
        "camera": _camera(4.6, 1.0, 400.0, 2.1, 50000.0, 16, (500.0, 600.0)),
    },
    "refractor-62": {
        "telescope": {
            "aperture_mm": 117.0, "focal_length_mm": 726.0, "reflections": 0, "focus_law": "sine", "vanes": [],
        },
        "assembly": _assembly("push-pull", 66.0, 0.5, "lengthens", (75.0, 195.0, 315.0), 27.0, 0.2, 14.0, 0.02),
        "camera": _camera(3.8, 0.8, 500.0, 1.6, 48000.0, 16, (510.0, 600.0)),
    },
    "two-mirror-8": {
        "telescope": {
            "aperture_mm": 213.0, "focal_length_mm": 1730.0, "reflections": 2, "focus_law": "sine",
            "obstruction": {"diameter_mm": 77.0, "offset_mm": [0.0, 0.0]},
            "vanes": _vanes([17.0, 107.0, 197.0, 287.0], 2.0, 38.5, 106.5),
        },
        "assembly": _assembly("pivot", 24.0, 0.4, "lengthens", (90.0, 210.0, 330.0), 12.5, 0.1, 118.0, 0.03),
        "camera": _camera(5.4, 1.6, 260.0, 3.1, 60000.0, 16, (500.0, 620.0)),
    },
    "folded-98": {
        "telescope": {
            "aperture_mm": 141.0, "focal_length_mm": 1382.0, "reflections": 3, "focus_law": "sine",
            "obstruction": {"diameter_mm": 47.0, "offset_mm": [0.0, 0.0]},
            "vanes": _vanes([83.0], 3.0, 23.5, 70.5),
        },
        "assembly": _assembly("lock-nut", 33.0, 0.5, "lengthens", (50.0, 170.0, 290.0), -13.0, 0.1, 92.0, 0.04),
        "camera": _camera(4.6, 0.9, 520.0, 1.9, 41000.0, 16, (480.0, 600.0)),
    },
    "two-mirror-12": {
        "telescope": {
            "aperture_mm": 152.0, "focal_length_mm": 1824.0, "reflections": 2, "focus_law": "sine",
            "obstruction": {"diameter_mm": 46.0, "offset_mm": [0.0, 0.0]},
            "vanes": [],
        },
        "assembly": _assembly("pivot", 19.0, 0.35, "shortens", (30.0, 150.0, 270.0), 9.0, 0.05, -131.0, 0.03),
        "camera": _camera(5.4, 1.3, 350.0, 2.4, 55000.0, 16, (500.0, 600.0)),
    },
}  # fmt: skip


def focal_ratio(telescope):
    """Focal length over aperture."""
    return telescope["focal_length_mm"] / telescope["aperture_mm"]


def obstruction_ratio(telescope):
    """Diameter of the obstruction over the aperture's; 0 without one."""
    return telescope["obstruction"]["diameter_mm"] / telescope["aperture_mm"] if telescope.get("obstruction") else 0.0


def mask_for(telescope, layout, pixel_um):
    """A mask that fits the telescope: the first orders of its slots fall about 17 pixels from the star."""
    aperture_mm, focal_mm = telescope["aperture_mm"], telescope["focal_length_mm"]
    pitch_mm = round(550e-6 * focal_mm / (17 * pixel_um * 1e-3), 1)
    hole_mm = telescope["obstruction"]["diameter_mm"] + 3.0 if telescope.get("obstruction") else 0.0
    mask = {
        "layout": layout,
        "slot_pitch_mm": pitch_mm,
        "open_fraction": 0.5,
        "slant_deg": 20.0,
        "sense": 1,
        "outer_diameter_mm": aperture_mm - 2.0,
        "inner_diameter_mm": hole_mm,
        "outer_rim_mm": 3.0,
        "inner_rim_mm": 2.0 if hole_mm else 0.0,
        "rib_mm": 2.0,
        "thickness_mm": 2.4,
        "rotation_deg": 0.0,
        "offset_mm": [0.0, 0.0],
    }
    if layout == "two-zone":
        mask["zone_radius_mm"] = round(0.375 * aperture_mm, 1)
    return mask
