"""Seeing, masks, camera, screws and seeds, each against something else

Other transforms by GalSim, other mask by its literal twin, the camera by its own statistics.
"""

import galsim
import numpy as np

import mask_twin
from scenes import MASKED

from . import camera, draw, outline, scene, seeing
from .screws import Hand, Mechanics

ASSEMBLY = {
    "screw_circle_radius_mm": 55.0, "pitch_mm_per_turn": 0.5, "backlash_turns": 0.0,
    "screws": [{"name": "A", "azimuth_deg": 90.0}, {"name": "B", "azimuth_deg": 210.0}, {"name": "C", "azimuth_deg": 330.0}],
    "response": {"coma_nm_per_arcmin": 62.0, "astigmatism_nm_per_arcmin2": 0.4, "image_shift_um_per_arcmin": 29.0},
}  # fmt: skip


def figures():
    """(what, figure, limit) of every part."""
    yield "Moffat's transform against GalSim", _moffat_difference(), 1e-5
    yield "Kolmogorov's transform against GalSim", _kolmogorov_difference(), 1e-5
    yield "points of the three-triplet mask that its twin disputes", _disputed(), 0
    yield "gain from photons and flat, relative", _gain_error(), 0.02
    yield "read noise from a dark frame, relative", _read_noise_error(), 0.02
    yield "counts above full well and converter", _beyond_full(), 0
    yield "colour pattern's letters out of place", _misplaced_filters(), 0
    yield "design's worked tilt, arcmin off", float(np.max(np.abs(_mechanics().tilt_arcmin(TURNS) - [1.80, 1.04]))), 0.005001
    yield "design's worked image shift, px of 3.8 um off", _shift_error(), 0.050001
    yield "turns found for a coma and back, nm off", _round_trip_nm(), 1e-9
    yield "coma after lengthening A (Noll 7 must be positive): wrong signs", _sign_of_a(), 0
    yield "spread of a hand's 1/8 turns, relative to 10 % and 4 degrees", _hand_error(), 0.05
    yield "size of 4000 lock-ups, nm off 20", _lock_error_nm(), 0.6
    yield "pixels that differ in a frame made twice", _made_twice(), 0


TURNS = {"A": 0.0, "B": -0.1, "C": 0.0}


def _mechanics():
    return Mechanics(ASSEMBLY)


def _moffat_difference():
    nu = np.linspace(0.001, 0.4, 200)
    profile = galsim.Moffat(beta=2.7, fwhm=4.1)
    wanted = [profile.kValue(2 * np.pi * value, 0.0).real for value in nu]
    return float(np.max(np.abs(seeing.moffat(nu, 4.1, 2.7) - wanted)))


def _kolmogorov_difference():
    focal_mm, nu = 500.0, np.linspace(0.001, 0.4, 200)
    sky = {"fwhm_arcsec": 2.0}
    fwhm_um = 2.0 * (600.0 / 500.0) ** -0.2 / 206264.80624709636 * focal_mm * 1e3
    profile = galsim.Kolmogorov(fwhm=fwhm_um)
    wanted = [profile.kValue(2 * np.pi * value, 0.0).real for value in nu]
    found = seeing.transfer(sky, focal_mm, 3.8, 600.0, nu, np.zeros_like(nu))
    return float(np.max(np.abs(found - wanted)))


def _disputed():
    x, y = np.random.default_rng(7).uniform(-96.0, 96.0, (2, 200_000))
    mine = outline.openings(MASKED["telescope"], MASKED["mask"])(x, y) > 0
    return int(np.count_nonzero(mine != mask_twin.is_open(x, y)))


CAMERA = {"full_well_e": 4.0e4, "read_noise_e": 3.0, "gain_e_per_adu": 0.7, "bias_adu": 300.0, "bits": 16}


def _exposed(level_e, seed):
    return camera.counts(np.full((400, 400), level_e), CAMERA, {}, np.random.default_rng(seed))


def _gain_error():
    frame = _exposed(9000.0, 1)
    variance = frame.var() - (CAMERA["read_noise_e"] / CAMERA["gain_e_per_adu"]) ** 2
    return abs((frame.mean() - CAMERA["bias_adu"]) / variance / CAMERA["gain_e_per_adu"] - 1)


def _read_noise_error():
    wanted = np.hypot(CAMERA["read_noise_e"] / CAMERA["gain_e_per_adu"], np.sqrt(1 / 12))
    return abs(_exposed(0.0, 2).std() / wanted - 1)


def _beyond_full():
    """Pixels more than six read noises above a full well, in counts."""
    most = CAMERA["full_well_e"] + 6 * CAMERA["read_noise_e"]
    return int(np.count_nonzero(_exposed(9e4, 3) > most / CAMERA["gain_e_per_adu"] + CAMERA["bias_adu"]))


def _misplaced_filters():
    found = camera.colour_of_pixels("RGGB", 4, 4)
    return int(np.count_nonzero(found != np.array([[0, 1, 0, 1], [1, 2, 1, 2]] * 2)))


def _shift_error():
    return float(np.max(np.abs(_mechanics().image_shift_um(TURNS) / 3.8 - [13.8, 8.0])))


def _round_trip_nm():
    mechanics = Mechanics(ASSEMBLY, response_turn_deg=15.0)
    wanted = np.array([81.0, -37.0])
    return float(np.max(np.abs(mechanics.coma_nm(mechanics.turns_for(wanted)) - wanted)))


def _sign_of_a():
    eighth, seventh = _mechanics().coma_nm({"A": 0.1, "B": 0.0, "C": 0.0})
    return int(not (seventh > 0 and abs(eighth) < 1e-9))


def _hand_error():
    hand = Hand(_mechanics(), {"A": 0.0, "B": 0.0, "C": 0.0}, np.random.default_rng(4))
    given = np.array([hand.turn("A", 0.125) for _ in range(4000)])
    return abs(given.std() / np.hypot(0.0125, 4 / 360) - 1)


def _lock_error_nm():
    hand = Hand(_mechanics(), {"A": 0.0, "B": 0.0, "C": 0.0}, np.random.default_rng(5))
    for _ in range(4000):
        hand.lock("B")
    return abs(np.linalg.norm(hand.locked_coma_nm) / 4000 - 20.0)


def _made_twice():
    frames = [scene.shoot(*draw.world("matched", 3)).raw for _ in range(2)]
    return int(np.count_nonzero(frames[0] != frames[1]))
