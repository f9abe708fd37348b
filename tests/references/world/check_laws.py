"""Against closed forms and the signs of the design

Radii and centres are read where the light is a quarter of what the geometry gives there: the value at a straight edge.
"""

import numpy as np
from scipy.special import j1

from . import grid, light, outline

NO_AIR = {"fwhm_arcsec": 0.0}
HELD_STRAIGHT = {"rotation_deg": 0.0, "mirrored": False}
TELESCOPE = {"aperture_mm": 190.0, "focal_length_mm": 418.0, "focus_law": "sine"}
SHADOWED = {**TELESCOPE, "obstruction": {"diameter_mm": 84.0, "offset_mm": [0.0, 0.0]}}
RATIO = 2.2
OBSTRUCTION = 84.0 / 190.0
OPEN_AREA = np.pi / (4 * RATIO**2) * (1 - OBSTRUCTION**2)  # of the pupil, over direction cosines
VANE = {"azimuth_deg": 208.0, "width_mm": 26.0, "inner_radius_mm": 0.0, "outer_radius_mm": 95.0}
WAVELENGTH_NM = 550.0
PIXEL_UM = 2.0
HALF_PX = 150


def figures():
    """(what, figure, limit) of every law."""
    yield "Airy's pattern, relative to its peak", _airy_difference(), 3e-4
    for law in ("sine", "paraboloid"):
        yield f"doughnut's outer radius, {law}, relative to offset tan u", _radius_error(law), 2e-3
    yield "light on a large sensor, from 1", abs(_star(SHADOWED, -300.0, {}, HALF_PX).sum() - 1), 5e-3
    for side, offset_um in (("inside", -420.0), ("outside", 420.0)):
        for noll, azimuth_deg in (("8", 0.0), ("7", 90.0)):
            error = _dark_shift_error(offset_um, noll, azimuth_deg)
            yield f"dark centre by Noll {noll}, {side}, relative to 6 N W131 (1 - e²) along {azimuth_deg:.0f} deg", error, 0.02
        yield f"dark centre by an obstruction aside, {side}, relative to -offset d / f", _aside_error(offset_um), 0.03
    yield "a tilt's shift, relative to -2 N W111", _tilt_error(), 2e-3
    for side, offset_um, wanted_deg in (("upright inside", -420.0, 208.0), ("turned outside", 420.0, 28.0)):
        yield f"a vane's shadow, {side}, degrees off", _vane_error(offset_um, HELD_STRAIGHT, wanted_deg), 1.0
    held = {"rotation_deg": 50.0, "mirrored": False}
    yield "camera turned by 50 degrees: shadow, degrees off", _vane_error(-420.0, held, 158.0), 1.0
    held = {"rotation_deg": 50.0, "mirrored": True}
    yield "and mirrored: shadow, degrees off", _vane_error(-420.0, held, 22.0), 1.0
    for sense, slot_deg in ((1, 110.0), (-1, 70.0)):
        yield f"a wedge of slots at {slot_deg:.0f} deg: its light off -2 N mean slope, um", *_wedge_error(slot_deg)
        yield "its spike at right angles, degrees off", _spike_error(slot_deg), 1.0


def _star(telescope, offset_um, modes_nm, half_px, held=HELD_STRAIGHT, mask=None, samples=4, star_px=(0.0, 0.0)):
    """Shares of a monochromatic star without atmosphere; the frame's middle pixel is at 0."""
    cells = light.cells_needed(half_px, PIXEL_UM, telescope, WAVELENGTH_NM, bool(mask))
    pupil = grid.pupil(telescope, mask, held, cells)
    path_nm = pupil.path_nm(offset_um, modes_nm)
    star = light.star_light(
        pupil, lambda _: path_nm, [WAVELENGTH_NM], [1.0], NO_AIR, PIXEL_UM, half_px, samples, divide_cells=bool(mask)
    )
    size = 2 * half_px + 1
    return star.pixels((half_px + star_px[0], half_px + star_px[1]), size, size)


def _airy_difference():
    pupil = grid.pupil(TELESCOPE, None, HELD_STRAIGHT, 512)
    place_um = np.linspace(-8.0, 8.0, 161)
    found = light.irradiance(pupil, pupil.path_nm(0.0, {}), WAVELENGTH_NM, place_um, True)
    radius_um = np.maximum(np.hypot(*np.meshgrid(place_um, place_um)), 1e-9)
    argument = np.pi * radius_um / (WAVELENGTH_NM * 1e-3 * RATIO)
    peak = np.pi / (4 * (WAVELENGTH_NM * 1e-3 * RATIO) ** 2)
    return np.max(np.abs(found - peak * (2 * j1(argument) / argument) ** 2)) / peak


def _radius_error(law):
    offset_um = -1000.0
    edge = np.arcsin(1 / (2 * RATIO)) if law == "sine" else 2 * np.arctan(1 / (4 * RATIO))
    wanted_px = abs(offset_um) * np.tan(edge) / PIXEL_UM
    image = _star({**SHADOWED, "focus_law": law}, offset_um, {}, 170, samples=5)
    if law == "sine":  # light per area of s = sin u
        density = np.cos(edge) ** 4
    else:  # light per area of height h = 2 f tan(u/2), in units of f
        density = np.cos(edge) ** 3 / np.cos(edge / 2) ** 4
    share_per_px = density / (OPEN_AREA * offset_um**2) * PIXEL_UM**2
    angles = np.radians(np.arange(0.0, 360.0, 3.0))
    guess = wanted_px * np.array([np.cos(angles), np.sin(angles)])
    _, radius_px = _circle(_edge(image, guess, np.zeros(2), np.full(angles.size, share_per_px), outer=True))
    return abs(radius_px / wanted_px - 1)


def _edge(image, guess_px, centre_px, share_per_px, outer):
    """Where the light is a quarter of `share_per_px`, nearest to each guess along the line from the centre."""
    half, found = image.shape[0] // 2, []
    for guess, share in zip(guess_px.T, share_per_px):
        outward = (guess - centre_px) / np.linalg.norm(guess - centre_px)
        steps = np.arange(-8.0, 8.0, 0.02)
        x, y = guess[:, None] + outward[:, None] * steps
        bright = _bilinear(image, half + x, half + y) > share / 4
        crossings = np.flatnonzero(bright[:-1] != bright[1:])
        crossings = crossings[bright[crossings] == outer]  # outwards the outer edge ends the light, the inner begins it
        step = steps[crossings[np.argmin(np.abs(steps[crossings]))]]
        found.append(guess + outward * step)
    return np.array(found).T


def _circle(points):
    """((x, y), radius) of the circle through points, by least squares."""
    x, y = points
    solved = np.linalg.lstsq(np.column_stack([2 * x, 2 * y, np.ones_like(x)]), x**2 + y**2, rcond=None)[0]
    return solved[:2], float(np.sqrt(solved[2] + solved[0] ** 2 + solved[1] ** 2))


def _bilinear(image, x, y):
    column, row = np.floor(x).astype(int), np.floor(y).astype(int)
    right, up = x - column, y - row
    below = image[row, column] * (1 - right) + image[row, column + 1] * right
    above = image[row + 1, column] * (1 - right) + image[row + 1, column + 1] * right
    return below * (1 - up) + above * up


def _landing_um(s_x, s_y, offset_um, coma_nm):
    """Where a ray of direction cosines s lands, by the gradient of W written out: exact defocus and Noll 7 and 8."""
    cosine = np.sqrt(1 - s_x**2 - s_y**2)
    x, y = 2 * RATIO * s_x, 2 * RATIO * s_y
    slope_x = np.sqrt(8.0) * (coma_nm["8"] * (9 * x**2 + 3 * y**2 - 2) + coma_nm["7"] * 6 * x * y) * 1e-3
    slope_y = np.sqrt(8.0) * (coma_nm["7"] * (9 * y**2 + 3 * x**2 - 2) + coma_nm["8"] * 6 * x * y) * 1e-3
    return -offset_um * s_x / cosine - 2 * RATIO * slope_x, -offset_um * s_y / cosine - 2 * RATIO * slope_y


def _traced_edge(rho, aside, offset_um, coma_nm):
    """Landing places (px) of a circle of the pupil, and the share of light per pixel that rays bring there."""
    angles = np.radians(np.arange(0.0, 360.0, 3.0))
    s_x, s_y = ((rho * f(angles) + shift) / (2 * RATIO) for f, shift in zip((np.cos, np.sin), aside))
    step = 1e-6
    right, left = _landing_um(s_x + step, s_y, offset_um, coma_nm), _landing_um(s_x - step, s_y, offset_um, coma_nm)
    up, down = _landing_um(s_x, s_y + step, offset_um, coma_nm), _landing_um(s_x, s_y - step, offset_um, coma_nm)
    stretch = ((right[0] - left[0]) * (up[1] - down[1]) - (up[0] - down[0]) * (right[1] - left[1])) / (4 * step**2)
    places = np.array(_landing_um(s_x, s_y, offset_um, coma_nm)) / PIXEL_UM
    return places, PIXEL_UM**2 / (OPEN_AREA * np.abs(stretch))


def _dark_minus_outer(offset_um, coma_nm, aside_mm=(0.0, 0.0)):
    """um between the circles through the edges, read in the image."""
    telescope = {**SHADOWED, "obstruction": {**SHADOWED["obstruction"], "offset_mm": list(aside_mm)}}
    image = _star(telescope, offset_um, coma_nm, HALF_PX)
    aside = np.divide(aside_mm, TELESCOPE["aperture_mm"] / 2)
    centres = []
    for rho, shift, outer in ((1.0, (0.0, 0.0), True), (OBSTRUCTION, aside, False)):
        guess, share = _traced_edge(rho, shift, offset_um, coma_nm)
        centres.append(_circle(_edge(image, guess, guess.mean(axis=1), share, outer))[0])
    return (centres[1] - centres[0]) * PIXEL_UM


def _dark_shift_error(offset_um, noll, azimuth_deg):
    """Against the law, as a vector, relative to it."""
    size_nm = 60.0
    found = _dark_minus_outer(offset_um, {"7": 0.0, "8": 0.0, noll: size_nm})
    size_um = 6 * RATIO * np.sqrt(72.0) * size_nm * 1e-3 * (1 - OBSTRUCTION**2)
    wanted = size_um * np.array([np.cos(np.radians(azimuth_deg)), np.sin(np.radians(azimuth_deg))])
    return float(np.linalg.norm(found - wanted) / size_um)


def _aside_error(offset_um):
    aside_mm = np.array([2.0, -1.0])
    wanted = -offset_um * aside_mm / SHADOWED["focal_length_mm"]
    found = _dark_minus_outer(offset_um, {"7": 0.0, "8": 0.0}, aside_mm)
    return float(np.linalg.norm(found - wanted) / np.linalg.norm(wanted))


def _tilt_error():
    """Noll 2 and 3 are 2 rho cos and 2 rho sin: W111 is twice the coefficient."""
    modes_nm = {"2": 700.0, "3": -400.0}
    wanted_px = -2 * RATIO * 2 * np.array([0.7, -0.4]) / PIXEL_UM
    tilted = _star(TELESCOPE, 0.0, modes_nm, 60)
    moved = _star(TELESCOPE, 0.0, {}, 60, star_px=tuple(wanted_px))
    return float(np.linalg.norm(tilted - moved) / np.linalg.norm(moved))


def _vane_error(offset_um, held, wanted_deg):
    """Where a broad vane's shadow is, by the light that it takes away."""
    bare = _star(SHADOWED, offset_um, {}, HALF_PX, held)
    barred = _star({**SHADOWED, "vanes": [VANE]}, offset_um, {}, HALF_PX, held)
    ratio = VANE["width_mm"] * (190.0 - 84.0) / 2 / (np.pi / 4 * (190.0**2 - 84.0**2))
    missing = bare - barred * (1 - ratio)
    rows, columns = np.indices(missing.shape) - HALF_PX
    azimuth_deg = np.degrees(np.arctan2(np.sum(missing * rows), np.sum(missing * columns)))
    return float(abs((azimuth_deg - wanted_deg + 180) % 360 - 180))


def _wedge(slot_deg):
    region = [60.0, 120.0, 45.0, 92.0, slot_deg, 6.0]
    return {
        "layout": "regions", "regions": [region], "open_fraction": 0.5, "rib_mm": 0.0, "rotation_deg": 0.0,
        "offset_mm": [0.0, 0.0], "inner_diameter_mm": 0.0, "outer_diameter_mm": 240.0,
    }  # fmt: skip


def _wedge_error(slot_deg):
    """The centre of light of one wedge of slots, along them, against the mean slope of W there; and the limit."""
    mask, modes_nm, offset_um = _wedge(slot_deg), {"5": 30.0, "7": 90.0, "8": 60.0}, 4.0
    bent = _star(SHADOWED, offset_um, modes_nm, HALF_PX, mask=mask)
    flat = _star(SHADOWED, 0.0, {}, HALF_PX, mask=mask)
    slot = np.radians(slot_deg)
    along = np.array([np.cos(slot), np.sin(slot)])
    x, y = np.meshgrid(*[np.linspace(-95.0, 95.0, 1901)] * 2)
    is_open = outline.openings(SHADOWED, mask)(x, y) > 0
    step = 1e-4
    x, y = x[is_open] / 95.0, y[is_open] / 95.0
    slope_nm = (
        _w_nm(x + step * along[0], y + step * along[1], offset_um, modes_nm)
        - _w_nm(x - step * along[0], y - step * along[1], offset_um, modes_nm)
    ) / (2 * step)
    wanted_um = -2 * RATIO * slope_nm.mean() * 1e-3
    return abs(_centre_um(bent, along) - _centre_um(flat, along) - wanted_um), 0.02 * abs(wanted_um) + 0.05


def _w_nm(x, y, offset_um, modes_nm):
    """W by the polynomials written out: Noll 5, 7, 8 and exact defocus under the sine condition."""
    square = x**2 + y**2
    total = offset_um * 1e3 * (1 - np.sqrt(1 - square / (2 * RATIO) ** 2))
    total += modes_nm["5"] * np.sqrt(6.0) * 2 * x * y
    return total + np.sqrt(8.0) * (3 * square - 2) * (modes_nm["7"] * y + modes_nm["8"] * x)


def _centre_um(image, along, within_px=10.0):
    """Centre of the light along a direction, of the light near the spike: within a strip that follows it."""
    half = image.shape[0] // 2
    rows, columns = np.indices(image.shape) - half
    place = columns * along[0] + rows * along[1]
    centre = 0.0
    for _ in range(30):
        weight = image * np.exp(-((place - centre) ** 2) / (2 * within_px**2))
        centre = np.sum(weight * place) / np.sum(weight)
    return centre * PIXEL_UM


def _spike_error(slot_deg):
    """The long axis of the light of one wedge is at right angles to its slots."""
    image = _star(SHADOWED, 0.0, {}, HALF_PX, mask=_wedge(slot_deg))
    rows, columns = np.indices(image.shape) - HALF_PX
    orders = image * (np.hypot(rows, columns) > 12)
    twice = np.sum(orders * np.exp(2j * np.arctan2(rows, columns)))
    found_deg = np.degrees(np.angle(twice)) / 2
    return float(abs((found_deg - slot_deg - 90.0 + 90.0) % 180.0 - 90.0))
