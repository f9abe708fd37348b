"""Where light passes: the open parts of aperture, obstruction, vanes and mask, from the design's text alone.

Each shape is a function of (x, y) in mm, positive where light passes, that never changes faster than the point moves
(it is a distance to the nearest edge or a lower bound of one). A cell whose centre value exceeds half its diagonal is
therefore whole, and only the others need their area sampled. The value itself is never ramped into a coverage.

Axes: looking from the sensor towards the pupil, +x right, +y up, azimuth counter-clockwise from +x.
"""

import numpy as np


def pupil(scenario):
    """The function of (x_mm, y_mm) that is positive where light reaches the star image."""
    shapes = [_aperture(scenario["telescope"]["aperture_mm"])]
    if "obstruction" in scenario["telescope"]:
        shapes.append(_obstruction(scenario["telescope"]["obstruction"]))
    shapes += [_vane(vane) for vane in scenario["telescope"].get("vanes", [])]
    if scenario["state"].get("mask_on", False):
        shapes.append(_mask(scenario["mask"]))
    return lambda x, y: _smallest([shape(x, y) for shape in shapes])


def _smallest(values):
    return np.minimum.reduce(values)


def _largest(values):
    return np.maximum.reduce(values)


def _aperture(diameter_mm):
    return lambda x, y: diameter_mm / 2 - np.hypot(x, y)


def _obstruction(obstruction):
    if obstruction["shape"] != "round" or obstruction["distance_mm"] != 0.0:
        raise ValueError("only a round obstruction at the pupil is described here")
    centre_x, centre_y = obstruction["offset_mm"]
    return lambda x, y: np.hypot(x - centre_x, y - centre_y) - obstruction["diameter_mm"] / 2


def _vane(vane):
    """Outside a straight strip with square ends, its radii measured along the strip."""
    azimuth = np.radians(vane["azimuth_deg"])

    def outside(x, y):
        along = x * np.cos(azimuth) + y * np.sin(azimuth)
        across = -x * np.sin(azimuth) + y * np.cos(azimuth) - vane["offset_mm"]
        beyond_ends = _largest([vane["inner_radius_mm"] - along, along - vane["outer_radius_mm"]])
        return _largest([beyond_ends, np.abs(across) - vane["width_mm"] / 2])

    return outside


def three_triplet_regions(slant_deg, sense):
    """(first azimuth, last azimuth, slot direction) of the nine regions, degrees."""
    s = slant_deg * sense
    regions = []
    for c in (90.0, 210.0, 330.0):
        regions += [(c - 30, c + 30, c), (c + 180, c + 210, c + s), (c + 150, c + 180, c - s)]
    return regions


def _mask(mask):
    """Open in a slot, inside the plate's hole, or beside the plate."""
    if mask["layout"] != "three-triplet" or mask["offset_mm"] != [0.0, 0.0] or mask["rotation_deg"] != 0.0:
        raise ValueError("only an unturned, centred three-triplet mask is described here")
    regions = [
        _region_slots(mask, first, last, slot)
        for first, last, slot in three_triplet_regions(mask["slant_deg"], mask["sense"])
    ]
    hole_mm, plate_mm = mask["inner_diameter_mm"] / 2, mask["outer_diameter_mm"] / 2

    def open_part(x, y):
        radius = np.hypot(x, y)
        return _largest([hole_mm - radius, radius - plate_mm] + [region(x, y) for region in regions])

    return open_part


def _region_slots(mask, first_deg, last_deg, slot_deg):
    """Slots of one region: within its wedge less half a rib on each border, between the rims."""
    first, last, slot = np.radians([first_deg, last_deg, slot_deg])
    inner_mm = mask["inner_diameter_mm"] / 2 + mask["inner_rim_mm"]
    outer_mm = mask["outer_diameter_mm"] / 2 - mask["outer_rim_mm"]
    pitch_mm = mask["slot_pitch_mm"]
    half_slot_mm = pitch_mm * mask["open_fraction"] / 2
    half_rib_mm = mask["rib_mm"] / 2

    def inside(x, y):
        radius = np.hypot(x, y)
        past_first = -x * np.sin(first) + y * np.cos(first) - half_rib_mm
        before_last = x * np.sin(last) - y * np.cos(last) - half_rib_mm
        across = -x * np.sin(slot) + y * np.cos(slot)
        to_slot_middle = np.abs(across - pitch_mm * np.round(across / pitch_mm))
        return _smallest([past_first, before_last, radius - inner_mm, outer_mm - radius, half_slot_mm - to_slot_middle])

    return inside
