"""Where light passes: aperture, obstruction, vanes, a cut in the beam, and masks, read from the design's text.

Each shape is a function of (x, y) in mm, positive where light passes, that never changes faster than the point moves. A cell
whose value at the centre is larger than its half diagonal is therefore whole or closed, and only the others are sampled.

Axes: looking from the sensor towards the pupil, +x right, +y up, azimuth counter-clockwise from +x.
"""

import numpy as np


def openings(telescope, mask=None):
    """The function of (x_mm, y_mm) that is positive where light reaches the star; `mask` None means that it is off."""
    shapes = [_disc_inside((0.0, 0.0), telescope["aperture_mm"] / 2)]
    if telescope.get("obstruction"):
        obstruction = telescope["obstruction"]
        shapes.append(_disc_outside(obstruction.get("offset_mm", (0.0, 0.0)), obstruction["diameter_mm"] / 2))
    shapes += [_vane(vane) for vane in telescope.get("vanes", [])]
    if telescope.get("cut"):
        shapes.append(_chord(**telescope["cut"]))
    if mask:
        shapes.append(_mask(mask))
    return lambda x, y: np.minimum.reduce([shape(x, y) for shape in shapes])


def _disc_inside(centre_mm, radius_mm):
    return lambda x, y: radius_mm - np.hypot(x - centre_mm[0], y - centre_mm[1])


def _disc_outside(centre_mm, radius_mm):
    return lambda x, y: np.hypot(x - centre_mm[0], y - centre_mm[1]) - radius_mm


def _chord(azimuth_deg, reach_mm):
    """A straight edge that closes all that lies farther than `reach_mm` towards the azimuth."""
    azimuth = np.radians(azimuth_deg)
    return lambda x, y: reach_mm - (x * np.cos(azimuth) + y * np.sin(azimuth))


def _vane(vane):
    """Outside a straight strip with square ends, its radii measured along the strip."""
    azimuth, aside_mm = np.radians(vane["azimuth_deg"]), vane.get("offset_mm", 0.0)
    middle_mm = (vane["inner_radius_mm"] + vane["outer_radius_mm"]) / 2
    half_length_mm = (vane["outer_radius_mm"] - vane["inner_radius_mm"]) / 2

    def outside(x, y):
        along = np.abs(x * np.cos(azimuth) + y * np.sin(azimuth) - middle_mm) - half_length_mm
        across = np.abs(y * np.cos(azimuth) - x * np.sin(azimuth) - aside_mm) - vane["width_mm"] / 2
        return np.maximum(along, across)

    return outside


def mask_regions(mask):
    """(first azimuth, last azimuth, inner radius, outer radius, slot direction, pitch) of every region: degrees and mm.

    The radii are those of the open part: rims and the ribs along a zone's border are taken off. The layout "regions" brings
    its own list.
    """
    if mask["layout"] == "regions":
        return mask["regions"]
    inner_mm = mask["inner_diameter_mm"] / 2 + mask["inner_rim_mm"]
    outer_mm = mask["outer_diameter_mm"] / 2 - mask["outer_rim_mm"]
    lean, half_rib_mm = mask["slant_deg"] * mask["sense"], mask["rib_mm"] / 2
    pitches_mm = np.atleast_1d(mask["slot_pitch_mm"])
    if mask["layout"] == "one-triplet":
        wedges = [(0, 180, 90), (180, 270, 90 + lean), (270, 360, 90 - lean)]
        return [(a, b, inner_mm, outer_mm, slot, pitches_mm[0]) for a, b, slot in wedges]
    if mask["layout"] == "three-triplet":
        wedges = [
            wedge
            for c in (90, 210, 330)
            for wedge in ((c - 30, c + 30, c), (c + 180, c + 210, c + lean), (c + 150, c + 180, c - lean))
        ]
        return [(a, b, inner_mm, outer_mm, slot, pitches_mm[0]) for a, b, slot in wedges]
    if mask["layout"] == "two-zone":
        border_mm, regions = mask["zone_radius_mm"], []
        for c in (90, 210, 330):
            for first, last in ((c - 30, c + 30), (c + 150, c + 210)):
                regions.append((first, last, border_mm + half_rib_mm, outer_mm, c, pitches_mm[0]))
            for first, slot in ((c + 60, c + lean), (c - 90, c + lean), (c + 90, c - lean), (c - 120, c - lean)):
                regions.append((first, first + 30, inner_mm, border_mm - half_rib_mm, slot, pitches_mm[-1]))
        return regions
    raise ValueError(f"layout {mask['layout']!r} is not described here")


def _mask(mask):
    """Open in a slot, inside the plate's hole, or beside the plate; the mask's own turn and place undone first."""
    slots = [_slots(mask, *region) for region in mask_regions(mask)]
    hole_mm, plate_mm = mask["inner_diameter_mm"] / 2, mask["outer_diameter_mm"] / 2
    turn = np.radians(mask.get("rotation_deg", 0.0))
    aside_x, aside_y = mask.get("offset_mm", (0.0, 0.0))

    def open_part(x, y):
        moved_x, moved_y = x - aside_x, y - aside_y
        own_x = moved_x * np.cos(turn) + moved_y * np.sin(turn)
        own_y = moved_y * np.cos(turn) - moved_x * np.sin(turn)
        radius = np.hypot(own_x, own_y)
        beside = np.maximum(hole_mm - radius, radius - plate_mm)
        return np.maximum.reduce([beside] + [region(own_x, own_y, radius) for region in slots])

    return open_part


def _slots(mask, first_deg, last_deg, inner_mm, outer_mm, slot_deg, pitch_mm):
    """Slots of one region; one slot is centred on the line through the mask's centre."""
    first, last, slot = np.radians([first_deg, last_deg, slot_deg])
    half_slot_mm, half_rib_mm = pitch_mm * mask["open_fraction"] / 2, mask["rib_mm"] / 2

    def inside(x, y, radius):
        past_first = y * np.cos(first) - x * np.sin(first) - half_rib_mm
        before_last = x * np.sin(last) - y * np.cos(last) - half_rib_mm
        across = y * np.cos(slot) - x * np.sin(slot)
        from_middle = np.abs(across - pitch_mm * np.round(across / pitch_mm))
        return np.minimum.reduce(
            [past_first, before_last, radius - inner_mm, outer_mm - radius, half_slot_mm - from_middle]
        )

    return inside
