"""Worlds from seeds. The same suite and number give the same world, whatever was drawn before.

    matched      nothing differs: doughnuts, and masks of three layouts at focus
    orientation  how the camera is held: typed right, turned, by half a turn, mirrored, both; side told, untold or wrong
    differs      every case of differences.py in turn
"""

import copy
import math
import zlib

import numpy as np

from . import differences
from .scene import offset_for
from .screws import Mechanics
from .telescopes import TELESCOPES, focal_ratio, mask_for, obstruction_ratio
from .wavefront import coma_w131_nm

SUITES = ("matched", "orientation", "differs")
LAYOUTS = ("three-triplet", "one-triplet", "two-zone")
HELD = ("right", "turned", "half-turn", "mirrored", "turned-and-mirrored")
SIDES = ("told", "untold", "told", "wrong")
MASKED_EVERY = 5  # every fifth world of "matched" and "orientation" is behind a mask
SMALL_MODES_NM = {"5": 14.0, "6": 14.0, "9": 7.0, "10": 7.0, "11": 10.0}
LEAST_WAVES_UM = 1.2  # of defocus at the edge, so that a doughnut is one


def world(suite, number):
    """The world of this number, ready to be shot, and the generator of its photons."""
    if suite not in SUITES:
        raise ValueError(f"there is no suite {suite!r}, only {', '.join(SUITES)}")
    rng = np.random.default_rng([zlib.crc32(suite.encode()), number])
    if suite == "differs":
        name = list(differences.CASES)[number % len(differences.CASES)]
        drawn = aligned_file(rng, _any_telescope(rng, number), behind_mask=differences.CASES[name][1])
        drawn["kind"], drawn["difference"] = name, differences.apply(name, drawn, rng)
    else:
        drawn = aligned_file(rng, _any_telescope(rng, number), number % MASKED_EVERY == MASKED_EVERY - 1)
        drawn["kind"], drawn["difference"] = "matched", {}
        if suite == "orientation":
            _hold_camera(drawn, rng, number)
    finish(drawn, rng)
    drawn |= {"suite": suite, "number": number}
    return drawn, rng


def _any_telescope(rng, number):
    return list(TELESCOPES)[(number + int(rng.integers(len(TELESCOPES)))) % len(TELESCOPES)]


def aligned_file(rng, telescope_name, behind_mask):
    """A world in which everything is typed as it is, its star still only wished for."""
    telescope = copy.deepcopy(TELESCOPES[telescope_name])
    telescope["camera"] |= {"rotation_deg": round(float(rng.uniform(0, 360)), 1), "mirrored": bool(rng.random() < 0.5)}
    if behind_mask:
        layout = LAYOUTS[int(rng.integers(len(LAYOUTS)))]
        telescope["mask"] = mask_for(telescope["telescope"], layout, telescope["camera"]["pixel_um"])
    side = "inside" if rng.random() < 0.5 else "outside"
    real = copy.deepcopy(telescope) | {
        "sky": {"fwhm_arcsec": _seeing_arcsec(rng, telescope["telescope"])},
        "light": {
            "peak_of_full_well": float(rng.uniform(0.15, 0.75)),
            "well_e": telescope["camera"]["full_well_e"],
            "most_electrons": float(rng.uniform(1.0e6, 5.0e6)),
            "background_e": float(rng.uniform(4.0, 60.0)),
            "temperature_k": None,
        },
        "defects": {"flat_rms": 0.003},
        "written": {"kind": "linear", "file": "fits"},
    }
    return {
        "telescope": telescope_name,
        "typed": copy.deepcopy(telescope) | {"exposure": {"time_s": 1.0}},
        "real": real,
        "state": {"mask_on": behind_mask, "sensor_offset_um": None},
        "told": {"side": None if behind_mask else side, "second": False},
        "true_side": None if behind_mask else side,
        "wish": {
            "diameter_px": float(rng.uniform(30.0, 90.0)),
            "coma_nm": float(rng.uniform(15.0, 140.0 if behind_mask else 260.0)),
            "coma_azimuth": float(rng.uniform(0, 2 * np.pi)),
            "coma_limited": True,
        },
    }


def _seeing_arcsec(rng, telescope):
    """Nights are steadier for long focal lengths, or nobody would look: at most 25 um on the sensor."""
    return min(float(rng.uniform(1.4, 3.4)), 25e-3 / telescope["focal_length_mm"] * 206265)


def _hold_camera(drawn, rng, number):
    """What is typed about the camera, and told about the side, cycles; every combination comes in turn."""
    held, side = HELD[number // MASKED_EVERY % len(HELD)], SIDES[number % len(SIDES)]
    typed, real = drawn["typed"]["camera"], drawn["real"]["camera"]
    if held in ("turned", "turned-and-mirrored"):
        typed["rotation_deg"] = round((real["rotation_deg"] + float(rng.uniform(20.0, 340.0))) % 360, 1)
    if held == "half-turn":
        typed["rotation_deg"] = round((real["rotation_deg"] + 180.0) % 360, 1)
    if held in ("mirrored", "turned-and-mirrored"):
        typed["mirrored"] = not real["mirrored"]
    if drawn["true_side"] and side == "untold":
        drawn["told"]["side"] = None
    if drawn["true_side"] and side == "wrong":
        drawn["told"]["side"] = "outside" if drawn["true_side"] == "inside" else "inside"
    drawn["kind"] = held if drawn["true_side"] else f"mask-{held}"
    drawn["difference"] = {"held": held, "side": side if drawn["true_side"] else "focus"}


def finish(drawn, rng):
    """Turn the wishes into turns, modes, a sensor offset, a frame and a star in it."""
    wish, real, state = drawn.pop("wish"), drawn["real"], drawn["state"]
    telescope, camera = real["telescope"], real["camera"]
    ratio, pixel_um = focal_ratio(telescope), camera["pixel_um"]
    if not state["mask_on"]:
        diameter_px = max(wish["diameter_px"], 8 * ratio * LEAST_WAVES_UM / pixel_um)
        sign = -1.0 if drawn["true_side"] == "inside" else 1.0
        state["sensor_offset_um"] = sign * offset_for(diameter_px, telescope, pixel_um)
        state["diameter_px"] = diameter_px
    elif state["sensor_offset_um"] is None:
        state["sensor_offset_um"] = float(rng.uniform(-0.8, 0.8)) * 0.55 * ratio**2
    coma_nm = min(wish["coma_nm"], _judgeable_coma_nm(drawn)) if wish["coma_limited"] else wish["coma_nm"]
    azimuth = wish["coma_azimuth"]
    mechanics = Mechanics(real["assembly"])
    state["turns"] = mechanics.turns_for([coma_nm * math.cos(azimuth), coma_nm * math.sin(azimuth)])
    set_modes(drawn, mechanics, mechanics.coma_nm(state["turns"]), state["turns"], _small_modes(wish, rng))
    _set_frame(drawn, coma_nm, rng)
    if "dead_column_aside" in wish:
        column = camera["width_px"] / 2 + wish["dead_column_aside"] * state["diameter_px"]
        real["defects"]["dead_column"] = int(column)


def set_modes(drawn, mechanics, coma_nm, turns, others):
    """The total modes at the star: coma, the tilt's astigmatism, and what the telescope has besides."""
    sixth, fifth = mechanics.astigmatism_nm(turns)
    modes = {str(noll): float(value) for noll, value in others.items()}
    modes["5"], modes["6"] = modes.get("5", 0.0) + float(fifth), modes.get("6", 0.0) + float(sixth)
    modes["8"], modes["7"] = float(coma_nm[0]), float(coma_nm[1])
    drawn["state"]["modes_nm"] = modes
    drawn["state"]["tilt_arcmin"] = [float(value) for value in mechanics.tilt_arcmin(turns)]
    drawn["state"]["image_shift_um"] = [float(value) for value in mechanics.image_shift_um(turns)]
    drawn["state"]["piston_um"] = mechanics.piston_um(turns)


def _small_modes(wish, rng):
    modes = {noll: size_nm * rng.standard_normal() for noll, size_nm in SMALL_MODES_NM.items()}
    if "high_modes_nm" in wish:
        modes |= {str(noll): wish["high_modes_nm"] * rng.standard_normal() for noll in range(12, 23)}
    return modes


def dark_shift_px(drawn, coma_nm):
    """How far coma moves the dark centre: 6 N W131 (1 - ε²)."""
    telescope = drawn["real"]["telescope"]
    w131_um = coma_w131_nm(coma_nm) * 1e-3
    obstruction = 1 - obstruction_ratio(telescope) ** 2
    return 6 * focal_ratio(telescope) * w131_um * obstruction / drawn["real"]["camera"]["pixel_um"]


def _judgeable_coma_nm(drawn):
    """The coma for which the dark centre still lies well within the ring; behind a mask 140 nm."""
    if drawn["state"]["mask_on"]:
        return 140.0
    ring_px = drawn["state"]["diameter_px"] / 2 * (1 - obstruction_ratio(drawn["real"]["telescope"]))
    return 0.55 * ring_px / dark_shift_px(drawn, 1.0)


def _set_frame(drawn, coma_nm, rng):
    """A frame with room around the star, which stands a little aside."""
    real = drawn["real"]
    seeing_px = real["sky"]["fwhm_arcsec"] / 206265 * real["telescope"]["focal_length_mm"] * 1e3
    seeing_px /= real["camera"]["pixel_um"]
    if drawn["state"]["mask_on"]:
        side_px = 120
    else:
        side_px = drawn["state"]["diameter_px"] + dark_shift_px(drawn, coma_nm) + 6 * seeing_px + 22
    others = [other["aside_px"] for other in real["light"].get("others", [])]
    side_px += 1.2 * max([abs(value) for aside in others for value in aside], default=0.0)
    size = [2 * math.ceil(side_px / 2), 2 * math.ceil(side_px / 2 + rng.integers(-2, 3))]
    for side in ("typed", "real"):
        drawn[side]["camera"] |= {"width_px": size[0], "height_px": size[1]}
    drawn["state"]["star_px"] = [(length - 1) / 2 + float(rng.uniform(-3.0, 3.0)) for length in size]
