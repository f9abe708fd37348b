"""Do both libraries, as called here, keep the project's signs and axes? Asked of each before anything is written.

* A tilt W = W111 rho_x moves the image to -2 N W111 (likewise in y): a tilted star must equal the flat one moved by whole
  pixels, +3 columns and -2 rows.
* Inside focus the doughnut is the upright picture of the pupil, outside it is turned by 180 degrees: the dark bar of one
  broad vane, and with it the light's centre, must be on the right side.
"""

import copy

import numpy as np

from propagate import Sampling, by_hcipy, by_prysm

SAMPLING = Sampling(cells=256, points=233, subpixels=9)
SHIFT_COLUMNS, SHIFT_ROWS = 3, -2
TILT_TOLERANCE = 1e-4  # relative L2; a wrong sign or axis gives about 1
AZIMUTH_TOLERANCE_DEG = 2.0

STAR = {
    "telescope": {"aperture_mm": 80.0, "focal_length_mm": 480.0, "focus_law": "sine"},
    "camera": {"pixel_um": 1.7, "passband_nm": [595.0, 605.0], "wavelengths": 1, "width_px": 30, "height_px": 26},
    "state": {"sensor_offset_um": 0.0, "modes_nm": {"8": 40.0}},
}

VANE = {"azimuth_deg": 208.0, "width_mm": 14.0, "inner_radius_mm": 12.0, "outer_radius_mm": 40.0, "offset_mm": 0.0}


def faults():
    """A sentence for each convention that a library breaks; empty when all is well."""
    libraries = {"hcipy": by_hcipy, "prysm": by_prysm}
    found = [_tilt_fault(name, render) for name, render in libraries.items()]
    found += [_upright_fault(name, render, side) for name, render in libraries.items() for side in (-1, 1)]
    return [fault for fault in found if fault]


def _tilt_fault(name, render):
    focal_ratio = STAR["telescope"]["focal_length_mm"] / STAR["telescope"]["aperture_mm"]
    nm_per_pixel = -STAR["camera"]["pixel_um"] * 1e3 / (2 * focal_ratio) / 2  # Noll 2 and 3 are 2 rho_x and 2 rho_y
    tilted_star = copy.deepcopy(STAR)
    tilted_star["state"]["modes_nm"] |= {"2": SHIFT_COLUMNS * nm_per_pixel, "3": SHIFT_ROWS * nm_per_pixel}
    flat, tilted = render(STAR, SAMPLING), render(tilted_star, SAMPLING)
    moved = tilted[: flat.shape[0] + SHIFT_ROWS, SHIFT_COLUMNS:]
    kept = flat[-SHIFT_ROWS:, : flat.shape[1] - SHIFT_COLUMNS]
    difference = np.linalg.norm(moved - kept) / np.linalg.norm(kept)
    if difference > TILT_TOLERANCE:
        return f"{name}: a tilt does not move the image to -2 N W111 (relative difference {difference:.1e})"
    return None


def _upright_fault(name, render, side):
    """`side` is -1 inside focus, +1 outside."""
    defocused = copy.deepcopy(STAR)
    defocused["telescope"]["vanes"] = [VANE]
    defocused["state"] = {"sensor_offset_um": side * 150.0, "modes_nm": {}}
    light = render(defocused, SAMPLING)
    rows, columns = np.indices(light.shape)
    centre_x = np.sum(light * (columns - (light.shape[1] - 1) / 2))
    centre_y = np.sum(light * (rows - (light.shape[0] - 1) / 2))
    azimuth_deg = np.degrees(np.arctan2(centre_y, centre_x))
    expected_deg = VANE["azimuth_deg"] + (180.0 if side < 0 else 0.0)
    error_deg = (azimuth_deg - expected_deg + 180.0) % 360.0 - 180.0
    if abs(error_deg) > AZIMUTH_TOLERANCE_DEG:
        place = "inside" if side < 0 else "outside"
        return f"{name}: {place} focus the light's centre is at {azimuth_deg:.0f} deg, not {expected_deg:.0f} deg"
    return None
