"""The ways in which reality differs from the typed file. Each is a function that changes a world and returns its sizes.

`typed` is what the owner wrote down, `real` how it is; a difference changes one of the two, and never both in the same way
(except the few that make a telescope or a star of another kind, which is typed as it is).
"""

import numpy as np

from .telescopes import focal_ratio

CASES = {}  # name: (function, behind a mask or not)


def _case(name, masked=False):
    def keep(function):
        CASES[name] = (function, masked)
        return function

    return keep


def apply(name, world, rng):
    """Let the named difference happen; returns its sizes."""
    function, masked = CASES[name]
    if masked != world["state"]["mask_on"]:
        raise ValueError(f"{name} is for stars {'behind a mask' if masked else 'without a mask'}")
    return function(world, rng) or {}


def _either_sign(rng, least, most):
    return float(rng.uniform(least, most) * rng.choice([-1.0, 1.0]))


# ---------- how the camera is held, and the side of focus ----------


@_case("rotation-wrong")
@_case("mask-rotation-wrong", masked=True)
def rotation_wrong(world, rng):
    turn = float(rng.uniform(20.0, 340.0))
    world["typed"]["camera"]["rotation_deg"] = (world["real"]["camera"]["rotation_deg"] + turn) % 360
    return {"turn_deg": turn}


@_case("rotation-half-turn")
@_case("mask-rotation-half-turn", masked=True)
def rotation_half_turn(world, rng):
    world["typed"]["camera"]["rotation_deg"] = (world["real"]["camera"]["rotation_deg"] + 180.0) % 360
    return {"turn_deg": 180.0}


@_case("mirrored-wrong")
@_case("mask-mirrored-wrong", masked=True)
def mirrored_wrong(world, rng):
    world["typed"]["camera"]["mirrored"] = not world["real"]["camera"]["mirrored"]


@_case("side-untold")
def side_untold(world, rng):
    world["told"]["side"] = None


@_case("side-wrong")
def side_wrong(world, rng):
    world["told"]["side"] = "outside" if world["told"]["side"] == "inside" else "inside"


# ---------- shadows ----------


def _ensure_vane(world, rng):
    """One vane, typed and real, where the telescope has none; returns its number."""
    if not world["real"]["telescope"].get("vanes"):
        edge_mm = world["real"]["telescope"]["aperture_mm"] / 2
        vane = {
            "azimuth_deg": float(rng.uniform(0, 360)), "width_mm": round(0.035 * edge_mm, 2),
            "inner_radius_mm": round(0.2 * edge_mm, 2), "outer_radius_mm": edge_mm,
        }  # fmt: skip
        for side in ("typed", "real"):
            world[side]["telescope"]["vanes"] = [dict(vane)]
    return int(rng.integers(len(world["real"]["telescope"]["vanes"])))


@_case("vane-absent")
def vane_absent(world, rng):
    number = _ensure_vane(world, rng)
    gone = world["real"]["telescope"]["vanes"].pop(number)
    return {"azimuth_deg": gone["azimuth_deg"], "width_mm": gone["width_mm"]}


@_case("vane-forgotten")
def vane_forgotten(world, rng):
    number = _ensure_vane(world, rng)
    gone = world["typed"]["telescope"]["vanes"].pop(number)
    return {"azimuth_deg": gone["azimuth_deg"], "width_mm": gone["width_mm"]}


@_case("vane-shifted")
def vane_shifted(world, rng):
    number, turn = _ensure_vane(world, rng), _either_sign(rng, 4.0, 40.0)
    world["real"]["telescope"]["vanes"][number]["azimuth_deg"] += turn
    return {"turn_deg": turn}


def _ensure_obstruction(world):
    edge_mm = world["real"]["telescope"]["aperture_mm"] / 2
    for side in ("typed", "real"):
        if not world[side]["telescope"].get("obstruction"):
            world[side]["telescope"]["obstruction"] = {"diameter_mm": round(0.7 * edge_mm, 1), "offset_mm": [0.0, 0.0]}


@_case("obstruction-size")
def obstruction_size(world, rng):
    _ensure_obstruction(world)
    factor = 1 + _either_sign(rng, 0.03, 0.15)
    world["real"]["telescope"]["obstruction"]["diameter_mm"] *= factor
    return {"factor": factor}


@_case("obstruction-aside")
def obstruction_aside(world, rng):
    _ensure_obstruction(world)
    size_mm, azimuth = float(rng.uniform(1.0, 3.0)), rng.uniform(0, 2 * np.pi)
    world["real"]["telescope"]["obstruction"]["offset_mm"] = [size_mm * np.cos(azimuth), size_mm * np.sin(azimuth)]
    world["told"]["second"] = True
    return {"aside_mm": size_mm}


@_case("obstruction-small")
def obstruction_small(world, rng):
    """A telescope of another kind, typed as it is."""
    share = float(rng.uniform(0.12, 0.18))
    for side in ("typed", "real"):
        telescope = world[side]["telescope"]
        telescope["obstruction"] = {"diameter_mm": round(share * telescope["aperture_mm"], 1), "offset_mm": [0.0, 0.0]}
    world["wish"]["coma_nm"] = float(rng.uniform(100.0, 300.0))
    return {"share": share}


@_case("obstruction-none")
def obstruction_none(world, rng):
    """A telescope of another kind, typed as it is."""
    for side in ("typed", "real"):
        world[side]["telescope"].pop("obstruction", None)
        world[side]["telescope"]["vanes"] = []
    world["wish"]["coma_nm"] = float(rng.uniform(100.0, 300.0))


@_case("vignetted")
def vignetted(world, rng):
    """A straight edge cuts off a part of the diameter on one side."""
    share, azimuth_deg = float(rng.uniform(0.01, 0.04)), float(rng.uniform(0, 360))
    reach_mm = world["real"]["telescope"]["aperture_mm"] * (0.5 - share)
    world["real"]["telescope"]["cut"] = {"azimuth_deg": azimuth_deg, "reach_mm": reach_mm}
    return {"share_of_diameter": share, "azimuth_deg": azimuth_deg}


# ---------- numbers that are a little wrong ----------


@_case("aperture")
def aperture(world, rng):
    factor = 1 + _either_sign(rng, 0.01, 0.03)
    world["typed"]["telescope"]["aperture_mm"] *= factor
    return {"typed_over_true": factor}


@_case("focal-length")
@_case("mask-focal-length", masked=True)
def focal_length(world, rng):
    factor = 1 + _either_sign(rng, 0.02, 0.04)
    world["typed"]["telescope"]["focal_length_mm"] *= factor
    return {"typed_over_true": factor}


@_case("pixel-size")
def pixel_size(world, rng):
    factor = 1 + _either_sign(rng, 0.02, 0.05)
    world["typed"]["camera"]["pixel_um"] *= factor
    return {"typed_over_true": factor}


@_case("gain-wrong")
@_case("mask-gain-wrong", masked=True)
def gain_wrong(world, rng):
    factor = float(rng.uniform(1.6, 3.0)) ** float(rng.choice([-1.0, 1.0]))
    world["typed"]["camera"]["gain_e_per_adu"] *= factor
    return {"typed_over_true": factor}


@_case("slots-narrow", masked=True)
def slots_narrow(world, rng):
    factor = float(rng.uniform(0.82, 0.9))
    world["real"]["mask"]["open_fraction"] *= factor
    return {"factor": factor}


@_case("mask-turned", masked=True)
def mask_turned(world, rng):
    turn = _either_sign(rng, 1.5, 6.0)
    world["real"]["mask"]["rotation_deg"] += turn
    return {"turn_deg": turn}


@_case("mask-aside", masked=True)
def mask_aside(world, rng):
    size_mm, azimuth = float(rng.uniform(1.0, 3.0)), rng.uniform(0, 2 * np.pi)
    world["real"]["mask"]["offset_mm"] = [size_mm * np.cos(azimuth), size_mm * np.sin(azimuth)]
    return {"aside_mm": size_mm}


@_case("mask-out-of-focus", masked=True)
def mask_out_of_focus(world, rng):
    """Nothing is typed wrong; the sensor is off by one to four depths of focus."""
    depth_um = 0.55 * focal_ratio(world["real"]["telescope"]) ** 2
    world["state"]["sensor_offset_um"] = _either_sign(rng, 1.0, 4.0) * depth_um
    return {"depths": world["state"]["sensor_offset_um"] / depth_um}


# ---------- what the camera and the capturing program do ----------


@_case("saturated-low")
@_case("mask-saturated-low", masked=True)
def saturated_low(world, rng):
    """Pixels fill up below what is typed."""
    share, lamp = float(rng.uniform(0.6, 0.9)), world["real"]["light"]
    lamp["peak_of_full_well"], lamp["most_electrons"] = 0.8, 2e7
    world["real"]["camera"]["full_well_e"] = share * 0.8 * lamp["well_e"]
    return {"full_at_share_of_peak": share}


@_case("gamma-8")
@_case("mask-gamma-8", masked=True)
def gamma_8(world, rng):
    gamma = float(rng.uniform(1.6, 2.4))
    world["real"]["written"] = {"kind": "gamma-8", "gamma": gamma, "file": "png"}
    return {"gamma": gamma}


@_case("gamma-16")
def gamma_16(world, rng):
    gamma = float(rng.uniform(1.5, 2.4))
    world["real"]["written"] = {"kind": "gamma-16", "gamma": gamma, "file": "tiff"}
    return {"gamma": gamma}


@_case("asinh-16")
@_case("mask-asinh-16", masked=True)
def asinh_16(world, rng):
    strength = float(rng.uniform(3.0, 40.0))
    world["real"]["written"] = {"kind": "asinh-16", "strength": strength, "file": "fits"}
    return {"strength": strength}


@_case("clipped-blacks")
@_case("mask-clipped-blacks", masked=True)
def clipped_blacks(world, rng):
    over = float(rng.uniform(0.0, 4.0))
    world["real"]["written"] = {"kind": "clipped", "over_sigma": over, "file": "fits"}
    world["typed"]["camera"]["bias_adu"] = 0.0
    return {"over_sigma": over}


@_case("jpeg")
def jpeg(world, rng):
    quality = int(rng.integers(75, 96))
    world["real"]["written"] = {"kind": "jpeg", "gamma": 2.2, "file": "jpeg", "quality": quality}
    return {"quality": quality}


@_case("cosmics")
@_case("mask-cosmics", masked=True)
def cosmics(world, rng):
    world["real"]["defects"]["cosmics"] = int(rng.integers(3, 12))
    return {"tracks": world["real"]["defects"]["cosmics"]}


@_case("dead-column")
def dead_column(world, rng):
    """It runs through the star: the place is set when the frame's size is known."""
    aside = float(rng.uniform(-0.4, 0.4))
    world["wish"]["dead_column_aside"] = aside
    return {"aside_of_diameter": aside}


@_case("hot-pixels")
@_case("mask-hot-pixels", masked=True)
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


@_case("colour-camera")
def colour_camera(world, rng):
    """A camera of another kind, typed as it is."""
    _make_colour(world, str(rng.choice(["RGGB", "GRBG", "GBRG", "BGGR"])))


@_case("pattern-turned")
def pattern_turned(world, rng):
    """The pattern was read from the top row."""
    pattern = str(rng.choice(["RGGB", "GRBG", "GBRG", "BGGR"]))
    _make_colour(world, pattern)
    world["typed"]["camera"]["colour_pattern"] = pattern[2:] + pattern[:2]
    return {"pattern": pattern}


# ---------- the sky, the mount and the star ----------


@_case("neighbour-near")
def neighbour_near(world, rng):
    return _neighbour(world, rng, (20.0, 34.0), (0.03, 0.3))


@_case("neighbour-far")
@_case("mask-neighbour", masked=True)
def neighbour_far(world, rng):
    return _neighbour(world, rng, (34.0, 60.0), (0.03, 0.3))


@_case("companion")
@_case("mask-companion", masked=True)
def companion(world, rng):
    return _neighbour(world, rng, (2.5, 12.0), (0.03, 0.06))


def _neighbour(world, rng, distances_px, shares):
    distance_px, azimuth, share = rng.uniform(*distances_px), rng.uniform(0, 2 * np.pi), float(rng.uniform(*shares))
    aside_px = [float(distance_px * np.cos(azimuth)), float(distance_px * np.sin(azimuth))]
    world["real"]["light"].setdefault("others", []).append({"aside_px": aside_px, "share": share})
    return {"distance_px": float(distance_px), "share": share}


@_case("drift")
@_case("mask-drift", masked=True)
def drift(world, rng):
    size_px, azimuth = float(rng.uniform(1.5, 7.0)), rng.uniform(0, 2 * np.pi)
    world["real"]["sky"]["drift_px"] = [size_px * np.cos(azimuth), size_px * np.sin(azimuth)]
    return {"px": size_px}


@_case("shake-line")
@_case("mask-shake-line", masked=True)
def shake_line(world, rng):
    return _shake(world, rng, "gaussian", (0.6, 2.5))


@_case("shake-lissajous")
@_case("mask-shake-lissajous", masked=True)
def shake_lissajous(world, rng):
    return _shake(world, rng, "lissajous", (0.8, 3.0))


def _shake(world, rng, kind, sizes_px):
    shake = {"kind": kind, "px": float(rng.uniform(*sizes_px)), "azimuth_deg": float(rng.uniform(0, 180))}
    if kind == "lissajous":
        shake["ratio"] = float(rng.uniform(0.1, 1.0))
    world["real"]["sky"]["shake"] = shake
    return {"px": shake["px"]}


@_case("seeing-moffat")
@_case("mask-seeing-moffat", masked=True)
def seeing_moffat(world, rng):
    beta = float(rng.uniform(2.2, 4.0))
    world["real"]["sky"] |= {"law": "moffat", "beta": beta}
    return {"beta": beta}


@_case("colour-of-star")
@_case("mask-colour-of-star", masked=True)
def colour_of_star(world, rng):
    """A cool or a hot star in a wide passband, its temperature not told."""
    temperature_k = float(rng.choice([3000.0, 3600.0, 10000.0, 16000.0]))
    world["real"]["light"]["temperature_k"] = temperature_k
    for side in ("typed", "real"):
        world[side]["camera"]["passband_nm"] = [430.0, 690.0]
    return {"temperature_k": temperature_k}


@_case("coma-large")
def coma_large(world, rng):
    """Nothing is typed wrong; there is much to put right: up to 1000 nm, 400 on slow telescopes."""
    most_nm = max(min(1000.0, 3800.0 / focal_ratio(world["real"]["telescope"])), 420.0)
    world["wish"] |= {"coma_nm": float(rng.uniform(0.3, 1.0) * most_nm), "coma_limited": False}
    world["wish"]["diameter_px"] = float(rng.uniform(60.0, 110.0))
    return {"coma_nm": world["wish"]["coma_nm"]}


@_case("doughnut-small")
def doughnut_small(world, rng):
    world["wish"]["diameter_px"] = float(rng.uniform(10.0, 20.0))
    return {"diameter_px": world["wish"]["diameter_px"]}


@_case("doughnut-large")
def doughnut_large(world, rng):
    world["wish"]["diameter_px"] = float(rng.uniform(110.0, 200.0))
    return {"diameter_px": world["wish"]["diameter_px"]}


@_case("high-modes")
@_case("mask-high-modes", masked=True)
def high_modes(world, rng):
    size_nm = float(rng.uniform(6.0, 20.0))
    world["wish"]["high_modes_nm"] = size_nm
    return {"rms_nm_each": size_nm}


MIXED = (
    "vane-shifted", "obstruction-size", "obstruction-aside", "vignetted", "aperture", "focal-length", "pixel-size",
    "gain-wrong", "hot-pixels", "cosmics", "drift", "shake-line", "seeing-moffat", "high-modes", "companion",
    "neighbour-far",
)  # fmt: skip
MIXED_BEHIND_MASK = (
    "slots-narrow", "mask-turned", "mask-aside", "mask-drift", "mask-seeing-moffat", "mask-colour-of-star",
    "mask-high-modes", "mask-focal-length", "mask-gain-wrong", "mask-companion",
)  # fmt: skip


@_case("several")
def several(world, rng):
    return _several(world, rng, MIXED)


@_case("mask-several", masked=True)
def mask_several(world, rng):
    return _several(world, rng, MIXED_BEHIND_MASK)


def _several(world, rng, names):
    chosen = rng.choice(names, size=3, replace=False)
    return {str(name): apply(str(name), world, rng) for name in sorted(chosen)}
