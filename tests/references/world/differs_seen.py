"""Differences that come with the light: the camera, its files, the sky, the mount and the star. Names say what each is."""

import numpy as np

from .registry import case
from .telescopes import focal_ratio

# ---------- what the camera and the capturing program do ----------


@case("saturated-low")
@case("mask-saturated-low", masked=True)
def saturated_low(world, rng):
    """Pixels fill up below what is typed."""
    share, lamp = float(rng.uniform(0.6, 0.9)), world["real"]["light"]
    lamp["peak_of_full_well"], lamp["most_electrons"] = 0.8, 2e7
    world["real"]["camera"]["full_well_e"] = share * 0.8 * lamp["well_e"]
    return {"full_at_share_of_peak": share}


@case("gamma-8")
@case("mask-gamma-8", masked=True)
def gamma_8(world, rng):
    gamma = float(rng.uniform(1.6, 2.4))
    world["real"]["written"] = {"kind": "gamma-8", "gamma": gamma, "file": "png"}
    return {"gamma": gamma}


@case("gamma-16")
def gamma_16(world, rng):
    gamma = float(rng.uniform(1.5, 2.4))
    top = float(rng.uniform(0.4, 1.0))
    world["real"]["written"] = {"kind": "gamma-16", "gamma": gamma, "top": top, "file": "tiff"}
    return {"gamma": gamma, "top": top}


@case("asinh-16")
@case("mask-asinh-16", masked=True)
def asinh_16(world, rng):
    strength = float(rng.uniform(3.0, 40.0))
    top = float(rng.uniform(0.4, 1.0))
    world["real"]["written"] = {"kind": "asinh-16", "strength": strength, "top": top, "file": "fits"}
    return {"strength": strength, "top": top}


@case("clipped-blacks")
@case("mask-clipped-blacks", masked=True)
def clipped_blacks(world, rng):
    over = float(rng.uniform(0.0, 4.0))
    world["real"]["written"] = {"kind": "clipped", "over_sigma": over, "file": "fits"}
    world["typed"]["camera"]["bias_adu"] = 0.0
    return {"over_sigma": over}


@case("jpeg")
def jpeg(world, rng):
    quality = int(rng.integers(75, 96))
    world["real"]["written"] = {"kind": "jpeg", "gamma": 2.2, "file": "jpeg", "quality": quality}
    return {"quality": quality}


@case("cosmics")
@case("mask-cosmics", masked=True)
def cosmics(world, rng):
    world["real"]["defects"]["cosmics"] = int(rng.integers(3, 12))
    return {"tracks": world["real"]["defects"]["cosmics"]}


@case("dead-column")
def dead_column(world, rng):
    """It runs through the star: the place is set when the frame's size is known."""
    aside = float(rng.uniform(-0.4, 0.4))
    world["wish"]["dead_column_aside"] = aside
    return {"aside_of_diameter": aside}


@case("hot-pixels")
@case("mask-hot-pixels", masked=True)
def hot_pixels(world, rng):
    world["real"]["defects"]["hot"] = int(rng.integers(4, 20))
    return {"pixels": world["real"]["defects"]["hot"]}


COLOURS = {"red": [590.0, 660.0], "green": [505.0, 580.0], "blue": [430.0, 500.0]}


def _make_colour(world, pattern):
    for side in ("typed", "real"):
        camera = world[side]["camera"]
        camera["passband_nm"], camera["colour_pattern"] = [430.0, 660.0], pattern
        camera["passbands"] = {name: {"passband_nm": list(band)} for name, band in COLOURS.items()}
    world["real"]["light"]["temperature_k"] = 5800.0


@case("colour-camera")
def colour_camera(world, rng):
    """A camera of another kind, typed as it is."""
    _make_colour(world, str(rng.choice(["RGGB", "GRBG", "GBRG", "BGGR"])))


@case("pattern-turned")
def pattern_turned(world, rng):
    """The pattern was read from the top row."""
    pattern = str(rng.choice(["RGGB", "GRBG", "GBRG", "BGGR"]))
    _make_colour(world, pattern)
    world["typed"]["camera"]["colour_pattern"] = pattern[2:] + pattern[:2]
    return {"pattern": pattern}


# ---------- the sky, the mount and the star ----------


@case("neighbour-near")
def neighbour_near(world, rng):
    return _neighbour(world, rng, (20.0, 34.0), (0.03, 0.3))


@case("neighbour-far")
@case("mask-neighbour", masked=True)
def neighbour_far(world, rng):
    return _neighbour(world, rng, (34.0, 60.0), (0.03, 0.3))


@case("companion")
@case("mask-companion", masked=True)
def companion(world, rng):
    return _neighbour(world, rng, (2.5, 12.0), (0.03, 0.06))


def _neighbour(world, rng, distances_px, shares):
    distance_px, azimuth, share = rng.uniform(*distances_px), rng.uniform(0, 2 * np.pi), float(rng.uniform(*shares))
    aside_px = [float(distance_px * np.cos(azimuth)), float(distance_px * np.sin(azimuth))]
    world["real"]["light"].setdefault("others", []).append({"aside_px": aside_px, "share": share})
    return {"distance_px": float(distance_px), "share": share}


@case("drift")
@case("mask-drift", masked=True)
def drift(world, rng):
    size_px, azimuth = float(rng.uniform(1.5, 7.0)), rng.uniform(0, 2 * np.pi)
    world["real"]["sky"]["drift_px"] = [size_px * np.cos(azimuth), size_px * np.sin(azimuth)]
    return {"px": size_px}


@case("shake-line")
@case("mask-shake-line", masked=True)
def shake_line(world, rng):
    return _shake(world, rng, "gaussian", (0.6, 2.5))


@case("shake-lissajous")
@case("mask-shake-lissajous", masked=True)
def shake_lissajous(world, rng):
    return _shake(world, rng, "lissajous", (0.8, 3.0))


def _shake(world, rng, kind, sizes_px):
    shake = {"kind": kind, "px": float(rng.uniform(*sizes_px)), "azimuth_deg": float(rng.uniform(0, 180))}
    if kind == "lissajous":
        shake["ratio"] = float(rng.uniform(0.1, 1.0))
    world["real"]["sky"]["shake"] = shake
    return {"px": shake["px"]}


@case("seeing-moffat")
@case("mask-seeing-moffat", masked=True)
def seeing_moffat(world, rng):
    beta = float(rng.uniform(2.2, 4.0))
    world["real"]["sky"] |= {"law": "moffat", "beta": beta}
    return {"beta": beta}


@case("colour-of-star")
@case("mask-colour-of-star", masked=True)
def colour_of_star(world, rng):
    """A cool or a hot star in a wide passband, its temperature not told."""
    temperature_k = float(rng.choice([3000.0, 3600.0, 10000.0, 16000.0]))
    world["real"]["light"]["temperature_k"] = temperature_k
    for side in ("typed", "real"):
        world[side]["camera"]["passband_nm"] = [430.0, 690.0]
    return {"temperature_k": temperature_k}


@case("coma-large")
def coma_large(world, rng):
    """Nothing is typed wrong; there is much to put right: up to 1000 nm, 400 on slow telescopes."""
    most_nm = max(min(1000.0, 3800.0 / focal_ratio(world["real"]["telescope"])), 420.0)
    world["wish"] |= {"coma_nm": float(rng.uniform(0.3, 1.0) * most_nm), "coma_limited": False}
    world["wish"]["diameter_px"] = float(rng.uniform(60.0, 110.0))
    return {"coma_nm": world["wish"]["coma_nm"]}


@case("doughnut-small")
def doughnut_small(world, rng):
    world["wish"]["diameter_px"] = float(rng.uniform(10.0, 20.0))
    return {"diameter_px": world["wish"]["diameter_px"]}


@case("doughnut-large")
def doughnut_large(world, rng):
    world["wish"]["diameter_px"] = float(rng.uniform(110.0, 200.0))
    return {"diameter_px": world["wish"]["diameter_px"]}


@case("high-modes")
@case("mask-high-modes", masked=True)
def high_modes(world, rng):
    size_nm = float(rng.uniform(6.0, 20.0))
    world["wish"]["high_modes_nm"] = size_nm
    return {"rms_nm_each": size_nm}
