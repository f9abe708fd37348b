"""A slow, literal reading of the three-triplet mask, to be asked the same questions as outlines.py.

It decides by azimuth and radius, region by region, and lays the ribs over the result, where outlines.py cuts each region
with half-planes. No distances are shared.
"""

import numpy as np

import outlines
from scenes import MASKED

QUESTIONS = 400_000
SEED = 20417


def faults():
    """One sentence if any random point of the pupil is open for one and closed for the other."""
    radius_mm = MASKED["telescope"]["aperture_mm"] / 2 * 1.02
    x, y = np.random.default_rng(SEED).uniform(-radius_mm, radius_mm, (2, QUESTIONS))
    disputed = np.count_nonzero((outlines.pupil(MASKED)(x, y) > 0) != is_open(x, y))
    if disputed:
        return [f"mask: outlines.py and mask_twin.py dispute {disputed} of {QUESTIONS} points"]
    return []


def is_open(x, y):
    """Whether light passes at points in mm."""
    telescope, mask = MASKED["telescope"], MASKED["mask"]
    radius, azimuth_deg = np.hypot(x, y), np.degrees(np.arctan2(y, x)) % 360
    plate = (radius >= mask["inner_diameter_mm"] / 2) & (radius <= mask["outer_diameter_mm"] / 2)
    pupil = (radius < telescope["aperture_mm"] / 2) & (radius > telescope["obstruction"]["diameter_mm"] / 2)
    return pupil & (~plate | (_in_slot(mask, x, y, radius, azimuth_deg) & ~_on_rib(mask, x, y)))


def _regions(slant_deg):
    """(first azimuth, width, slot direction), written out for centres 90, 210, 330."""
    s = slant_deg
    return [
        (60, 60, 90), (270, 30, 90 + s), (240, 30, 90 - s),
        (180, 60, 210), (30, 30, 210 + s), (0, 30, 210 - s),
        (300, 60, 330), (150, 30, 330 + s), (120, 30, 330 - s),
    ]  # fmt: skip


def _in_slot(mask, x, y, radius, azimuth_deg):
    between_rims = (radius > mask["inner_diameter_mm"] / 2 + mask["inner_rim_mm"]) & (
        radius < mask["outer_diameter_mm"] / 2 - mask["outer_rim_mm"]
    )
    found = np.zeros(np.shape(x), dtype=bool)
    for first_deg, width_deg, slot_deg in _regions(mask["slant_deg"] * mask["sense"]):
        in_region = (azimuth_deg - first_deg) % 360 < width_deg
        normal = np.radians(slot_deg + 90)
        periods = (x * np.cos(normal) + y * np.sin(normal)) / mask["slot_pitch_mm"]
        found |= in_region & ((periods + mask["open_fraction"] / 2) % 1 < mask["open_fraction"])
    return found & between_rims


def _on_rib(mask, x, y):
    on_rib = np.zeros(np.shape(x), dtype=bool)
    for border_deg in (0, 30, 60, 120, 150, 180, 240, 270, 300):
        border = np.radians(border_deg)
        along, across = x * np.cos(border) + y * np.sin(border), -x * np.sin(border) + y * np.cos(border)
        on_rib |= (along > 0) & (np.abs(across) < mask["rib_mm"] / 2)
    return on_rib
