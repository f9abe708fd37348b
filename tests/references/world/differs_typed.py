"""Differences in what was typed about telescope, mask and how the camera is held. The functions' names say what each is."""

import numpy as np

from .registry import case, either_sign
from .telescopes import focal_ratio

# ---------- how the camera is held, and the side of focus ----------


@case("rotation-wrong")
@case("mask-rotation-wrong", masked=True)
def rotation_wrong(world, rng):
    turn = float(rng.uniform(20.0, 340.0))
    world["typed"]["camera"]["rotation_deg"] = (world["real"]["camera"]["rotation_deg"] + turn) % 360
    return {"turn_deg": turn}


@case("rotation-half-turn")
@case("mask-rotation-half-turn", masked=True)
def rotation_half_turn(world, rng):
    world["typed"]["camera"]["rotation_deg"] = (world["real"]["camera"]["rotation_deg"] + 180.0) % 360
    return {"turn_deg": 180.0}


@case("mirrored-wrong")
@case("mask-mirrored-wrong", masked=True)
def mirrored_wrong(world, rng):
    world["typed"]["camera"]["mirrored"] = not world["real"]["camera"]["mirrored"]


@case("side-untold")
def side_untold(world, rng):
    world["told"]["side"] = None


@case("side-wrong")
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


@case("vane-absent")
def vane_absent(world, rng):
    number = _ensure_vane(world, rng)
    gone = world["real"]["telescope"]["vanes"].pop(number)
    return {"azimuth_deg": gone["azimuth_deg"], "width_mm": gone["width_mm"]}


@case("vane-forgotten")
def vane_forgotten(world, rng):
    number = _ensure_vane(world, rng)
    gone = world["typed"]["telescope"]["vanes"].pop(number)
    return {"azimuth_deg": gone["azimuth_deg"], "width_mm": gone["width_mm"]}


@case("vane-shifted")
def vane_shifted(world, rng):
    number, turn = _ensure_vane(world, rng), either_sign(rng, 4.0, 40.0)
    world["real"]["telescope"]["vanes"][number]["azimuth_deg"] += turn
    return {"turn_deg": turn}


def _ensure_obstruction(world):
    edge_mm = world["real"]["telescope"]["aperture_mm"] / 2
    for side in ("typed", "real"):
        if not world[side]["telescope"].get("obstruction"):
            world[side]["telescope"]["obstruction"] = {"diameter_mm": round(0.7 * edge_mm, 1), "offset_mm": [0.0, 0.0]}


@case("obstruction-size")
def obstruction_size(world, rng):
    _ensure_obstruction(world)
    factor = 1 + either_sign(rng, 0.03, 0.15)
    world["real"]["telescope"]["obstruction"]["diameter_mm"] *= factor
    return {"factor": factor}


@case("obstruction-aside")
def obstruction_aside(world, rng):
    _ensure_obstruction(world)
    size_mm, azimuth = float(rng.uniform(1.0, 3.0)), rng.uniform(0, 2 * np.pi)
    world["real"]["telescope"]["obstruction"]["offset_mm"] = [size_mm * np.cos(azimuth), size_mm * np.sin(azimuth)]
    world["told"]["second"] = True
    return {"aside_mm": size_mm}


@case("obstruction-small")
def obstruction_small(world, rng):
    """A telescope of another kind, typed as it is."""
    share = float(rng.uniform(0.12, 0.18))
    for side in ("typed", "real"):
        telescope = world[side]["telescope"]
        telescope["obstruction"] = {"diameter_mm": round(share * telescope["aperture_mm"], 1), "offset_mm": [0.0, 0.0]}
    world["wish"]["coma_nm"] = float(rng.uniform(100.0, 300.0))
    return {"share": share}


@case("obstruction-none")
def obstruction_none(world, rng):
    """A telescope of another kind, typed as it is."""
    for side in ("typed", "real"):
        world[side]["telescope"].pop("obstruction", None)
        world[side]["telescope"]["vanes"] = []
    world["wish"]["coma_nm"] = float(rng.uniform(100.0, 300.0))


@case("vignetted")
def vignetted(world, rng):
    """A straight edge cuts off a part of the diameter on one side."""
    share, azimuth_deg = float(rng.uniform(0.01, 0.04)), float(rng.uniform(0, 360))
    reach_mm = world["real"]["telescope"]["aperture_mm"] * (0.5 - share)
    world["real"]["telescope"]["cut"] = {"azimuth_deg": azimuth_deg, "reach_mm": reach_mm}
    return {"share_of_diameter": share, "azimuth_deg": azimuth_deg}


# ---------- numbers that are a little wrong ----------


@case("aperture")
def aperture(world, rng):
    factor = 1 + either_sign(rng, 0.01, 0.03)
    world["typed"]["telescope"]["aperture_mm"] *= factor
    return {"typed_over_true": factor}


@case("focal-length")
@case("mask-focal-length", masked=True)
def focal_length(world, rng):
    factor = 1 + either_sign(rng, 0.02, 0.04)
    world["typed"]["telescope"]["focal_length_mm"] *= factor
    return {"typed_over_true": factor}


@case("pixel-size")
def pixel_size(world, rng):
    factor = 1 + either_sign(rng, 0.02, 0.05)
    world["typed"]["camera"]["pixel_um"] *= factor
    return {"typed_over_true": factor}


@case("gain-wrong")
@case("mask-gain-wrong", masked=True)
def gain_wrong(world, rng):
    factor = float(rng.uniform(1.6, 3.0)) ** float(rng.choice([-1.0, 1.0]))
    world["typed"]["camera"]["gain_e_per_adu"] *= factor
    return {"typed_over_true": factor}


@case("slots-narrow", masked=True)
def slots_narrow(world, rng):
    factor = float(rng.uniform(0.82, 0.9))
    world["real"]["mask"]["open_fraction"] *= factor
    return {"factor": factor}


@case("mask-turned", masked=True)
def mask_turned(world, rng):
    turn = either_sign(rng, 1.5, 6.0)
    world["real"]["mask"]["rotation_deg"] += turn
    return {"turn_deg": turn}


@case("mask-aside", masked=True)
def mask_aside(world, rng):
    size_mm, azimuth = float(rng.uniform(1.0, 3.0)), rng.uniform(0, 2 * np.pi)
    world["real"]["mask"]["offset_mm"] = [size_mm * np.cos(azimuth), size_mm * np.sin(azimuth)]
    return {"aside_mm": size_mm}


@case("mask-out-of-focus", masked=True)
def mask_out_of_focus(world, rng):
    """Nothing is typed wrong; the sensor is off by one to four depths of focus."""
    depth_um = 0.55 * focal_ratio(world["real"]["telescope"]) ** 2
    world["state"]["sensor_offset_um"] = either_sign(rng, 1.0, 4.0) * depth_um
    return {"depths": world["state"]["sensor_offset_um"] / depth_um}
