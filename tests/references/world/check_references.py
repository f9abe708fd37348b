"""Against the committed arrays of other libraries (tests/references/data)

Images: relative L2. Frames of counts: how far the mean square of (count - expected) / sigma is from 1, in its own spreads.
"""

import json
import pathlib

import numpy as np

from . import grid, light, wavefront

DATA = pathlib.Path(__file__).resolve().parent.parent / "data"
IMAGES = {"doughnut": 1e-3, "polychromatic": 1e-3, "masked": 6e-4, "seeing": 5e-4, "focused": 1e-4}
COUNTS = ("measured_inside", "measured_outside", "measured_masked")
COUNTS_LIMIT = 4.0  # spreads
FINE = 2  # times as many cells: the difference must go down


def figures():
    """(what, figure, limit) of every comparison."""
    for name, limit in IMAGES.items():
        wanted, content = _load(name)
        yield f"{name}, relative L2", _relative_l2(shares(content), wanted), limit
    wanted, content = _load("doughnut")
    finer = _relative_l2(shares(content, FINE), wanted) / _relative_l2(shares(content), wanted)
    yield "doughnut with twice the cells, share of that difference", finer, 0.5
    for name in COUNTS:
        wanted, content = _load(name)
        yield f"{name}, spreads off a mean square of 1", _spreads_off(wanted, content), COUNTS_LIMIT
    yield "Noll's polynomials 1 to 36 against GalSim's table", _noll_difference(), 1e-11


def shares(content, finer=1):
    """What this simulator makes of a reference's scene."""
    scene = content["scenario"]
    telescope, camera = scene["telescope"], {**scene["camera"], "rotation_deg": 0.0, "mirrored": False}
    mask = scene["mask"] if scene["state"].get("mask_on") else None
    size = (camera["width_px"], camera["height_px"])
    half_px = max(size) // 2 + (30 if "sky" in scene else 10)
    wavelengths_nm = content["wavelengths_nm"]
    cells = finer * light.cells_needed(half_px, camera["pixel_um"], telescope, min(wavelengths_nm), bool(mask))
    pupil = grid.pupil(telescope, mask, camera, cells)
    path_nm = pupil.path_nm(scene["state"]["sensor_offset_um"], scene["state"]["modes_nm"])
    star = light.star_light(
        pupil, lambda _: path_nm, wavelengths_nm, [1 / len(wavelengths_nm)] * len(wavelengths_nm),
        {"fwhm_arcsec": _fwhm_arcsec(scene)}, camera["pixel_um"], half_px, divide_cells=bool(mask),
    )  # fmt: skip
    aside = content.get("readout", {}).get("aside_px", (0.0, 0.0))
    return star.pixels([(length - 1) / 2 + shift for length, shift in zip(size, aside)], *size)


def _fwhm_arcsec(scene):
    """At 500 nm; airmass by Kasten and Young 1989."""
    if "sky" not in scene:
        return 0.0
    altitude = scene["star"]["altitude_deg"]
    airmass = 1 / (np.sin(np.radians(altitude)) + 0.50572 * (altitude + 6.07995) ** -1.6364)
    return scene["sky"]["seeing_arcsec"] * airmass**0.6


def _spreads_off(counts, content):
    readout = content["readout"]
    expected_e = shares(content) * readout["electrons"] + readout["background_e_per_px"]
    read_e = (counts - readout["bias_adu"]) * readout["gain_e_per_adu"]
    squares = (read_e - expected_e) ** 2 / (expected_e + readout["read_noise_e"] ** 2)
    return abs(squares.mean() - 1) / np.sqrt(2 / squares.size)


def _noll_difference():
    table = json.loads((DATA / "zernike.json").read_text())
    rho, theta_deg = np.array([list(point.values()) for point in table["disc"]["points"]]).T
    rows = zip(table["noll"], table["disc"]["values"])
    return max(np.max(np.abs(wavefront.noll_value(noll, rho, np.radians(theta_deg)) - row)) for noll, row in rows)


def _load(name):
    return np.load(DATA / f"{name}.npy"), json.loads((DATA / f"{name}.json").read_text())


def _relative_l2(these, those):
    return float(np.linalg.norm(these - those) / np.linalg.norm(those))
