"""Whole fields with something wrong in the corners, and how a program names it: numpy alone, the laws of the rigid body written anew.

A telescope with a corrector, or a bare mirror whose unit holds only the sensor; nine kinds of trouble. Complex numbers stand for vectors:
two of them act on astigmatism by their product, which lies along the sum of their azimuths.
"""

import csv
import json
import math
import pathlib
import tempfile
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from astropy.io import fits

from . import ask, camera as cameras, files, grid, light

ARCMIN = math.pi / 180 / 60
TELESCOPE = {"aperture_mm": 190.0, "focal_length_mm": 456.0, "reflections": 1, "obstruction": {"diameter_mm": 81.0}}
CAMERA = {
    "orientation": "known", "pixel_um": 3.8, "width_px": 3000, "height_px": 2300, "rotation_deg": 37.0, "mirrored": True,
    "passband_nm": [500.0, 600.0], "quantum_efficiency": 0.8, "gain_e_per_adu": 1.0, "bias_adu": 400.0,
    "read_noise_e": 2.0, "dark_e_per_s": 0.05, "full_well_e": 60000.0, "bits": 16,
}  # fmt: skip
SCREWS = [{"name": name, "azimuth_deg": deg} for name, deg in (("A", 90.0), ("B", 210.0), ("C", 330.0))]
ASSEMBLY = {"screw_circle_radius_mm": 55.0, "pitch_mm_per_turn": 0.5, "screws": SCREWS}

# per arcmin, mm, and their products, as a scenario has them
CORRECTED = {
    "field": {"coma_nm_per_mm": 9.0, "astigmatism_nm_per_mm2": 1.1, "curvature_um_per_mm2": 0.05},
    "response": {
        "coma_nm_per_arcmin": 62.0, "astigmatism_nm_per_arcmin2": 0.4, "astigmatism_nm_per_arcmin_mm": 0.9,
        "image_shift_um_per_arcmin": 29.0, "focus_um_per_mm": 1000.0, "sensor_tilt_per_tilt": 1.0,
        "decentre_coma_nm_per_mm": -120.0, "decentre_image_shift_um_per_mm": -1000.0,
        "decentre_astigmatism_nm_per_mm_mm": 6.0, "spacing_spherical_nm_per_mm": 4.0,
        "spacing_astigmatism_nm_per_mm_mm2": 2.5,
    },
}  # fmt: skip
# a bare mirror: coma grows by W131 = D theta / (32 N^2), rms over sqrt(72); the unit holds the sensor on an arm of 380 mm
_GROWTH = 190e6 / (32 * 2.4**2) / 456.0 / math.sqrt(72)
_ASTIGMATISM = 190e6 / (8 * 2.4) / 456.0**2 / math.sqrt(24)  # W222 = D theta^2 / (8 N), rms over sqrt(24)
_ARM_MM = 380.0 * ARCMIN  # per arcmin
BARE = {
    "field": {"coma_nm_per_mm": _GROWTH, "astigmatism_nm_per_mm2": _ASTIGMATISM},
    "response": {
        "coma_nm_per_arcmin": _GROWTH * _ARM_MM, "astigmatism_nm_per_arcmin2": _ASTIGMATISM * _ARM_MM**2,
        "astigmatism_nm_per_arcmin_mm": 2 * _ASTIGMATISM * _ARM_MM, "image_shift_um_per_arcmin": -1000 * _ARM_MM,
        "focus_um_per_mm": 1000.0, "sensor_tilt_per_tilt": 1.0, "decentre_coma_nm_per_mm": _GROWTH,
        "decentre_image_shift_um_per_mm": -1000.0, "astigmatism_nm_per_mm_arcmin": 2 * _ASTIGMATISM * _ARM_MM,
        "decentre_astigmatism_nm_per_mm2": _ASTIGMATISM, "decentre_astigmatism_nm_per_mm_mm": 2 * _ASTIGMATISM,
    },
}  # fmt: skip
TELESCOPES = {"corrected": CORRECTED, "bare": BARE}

SIZES = {"unit_tilt": 2.4, "decentre": 1.1, "sensor_tilt": 8.0, "spacing": 1.0, "drift": 3.0, "focus": 30.0}
KINDS = (
    (), ("drift",), ("focus",), ("spacing",), ("sensor_tilt",), ("unit_tilt",), ("decentre",),
    ("drift", "unit_tilt"), ("sensor_tilt", "unit_tilt"),
)  # fmt: skip
WAVELENGTHS_NM = (515.0, 550.0, 585.0)
# a bare mirror is sharp over a few millimetres only: stars, half a stamp and the sensor
EXTENTS = {"corrected": (110, 26, 3000, 2300), "bare": (60, 46, 1100, 900)}


def draw(kinds, number, telescope="corrected"):
    """A field: sizes within 30 % of the usual ones, any azimuths, the sensor a few um beside focus."""
    rng = np.random.default_rng([number, *(sum(map(ord, kind)) for kind in kinds)])

    def vector(kind):
        size = SIZES[kind] * rng.uniform(0.7, 1.3) if kind in kinds else 0.0
        return size * np.exp(2j * np.pi * rng.uniform())

    hidden = {kind: vector(kind) for kind in ("unit_tilt", "decentre", "sensor_tilt", "drift")}
    for kind in ("spacing", "focus"):
        hidden[kind] = float(SIZES[kind] * rng.uniform(0.7, 1.3) * rng.choice([-1, 1])) if kind in kinds else 0.0
    hidden["focus"] += float(rng.uniform(-5.0, 5.0)) if "focus" not in kinds else 0.0
    hidden["fwhm_arcsec"] = float(rng.uniform(1.8, 3.2))
    return {"kinds": kinds, "number": number, "telescope": telescope, "hidden": hidden}, rng


def star_of(world, place_mm):
    """Sensor offset (um) and modes of a star at a place (complex mm, pupil axes) in a field."""
    response, field = (TELESCOPES[world["telescope"]][name] for name in ("response", "field"))
    given = world["hidden"]
    get = lambda name: response.get(name, 0.0)  # noqa: E731
    t, d, h = given["unit_tilt"], given["decentre"], place_mm
    coma = get("coma_nm_per_arcmin") * t + get("decentre_coma_nm_per_mm") * d + field["coma_nm_per_mm"] * h
    growth = field["astigmatism_nm_per_mm2"] + get("spacing_astigmatism_nm_per_mm_mm2") * given["spacing"]
    astigmatism = (
        growth * h * h + get("astigmatism_nm_per_arcmin2") * t * t + get("astigmatism_nm_per_arcmin_mm") * t * h
        + get("astigmatism_nm_per_mm_arcmin") * d * t + get("decentre_astigmatism_nm_per_mm2") * d * d
        + get("decentre_astigmatism_nm_per_mm_mm") * d * h
    )  # fmt: skip
    lean = given["sensor_tilt"] + get("sensor_tilt_per_tilt") * t
    offset_um = given["focus"] + 1e3 * ARCMIN * (lean * h.conjugate()).real
    offset_um += field.get("curvature_um_per_mm2", 0.0) * abs(h) ** 2
    spherical = get("spacing_spherical_nm_per_mm") * given["spacing"]
    modes = {"8": coma.real, "7": coma.imag, "6": astigmatism.real, "5": astigmatism.imag, "11": spherical}
    return offset_um, modes


def frame_of(world, rng, turned=False):
    """Counts of the field's frame; `turned`: with the camera turned half round, which takes the sensor's own tilt along."""
    stars, half_px, width, height = EXTENTS[world["telescope"]]
    camera = dict(CAMERA)
    if turned:
        camera["rotation_deg"] += 180.0
        world = {**world, "hidden": {**world["hidden"], "sensor_tilt": -world["hidden"]["sensor_tilt"]}}
    # from pupil axes to the frame's: turned back, then mirrored along the columns
    back = np.exp(1j * math.radians(camera["rotation_deg"]))
    pupil = grid.pupil(TELESCOPE, None, camera, 320)
    drift = world["hidden"]["drift"] / back
    sky = {"fwhm_arcsec": world["hidden"]["fwhm_arcsec"], "drift_px": (-drift.real, drift.imag)}
    expected = np.full((height, width), 12.0)
    for _ in range(stars):
        place_px = rng.uniform([half_px + 4] * 2, [width - half_px - 5, height - half_px - 5])
        aside = (place_px - [(width - 1) / 2, (height - 1) / 2]) * camera["pixel_um"] * 1e-3
        place_mm = (-aside[0] + 1j * aside[1]) * back
        offset_um, modes = star_of(world, place_mm)
        path_nm = pupil.path_nm(offset_um, modes)
        star = light.star_light(
            pupil, lambda _: path_nm, WAVELENGTHS_NM, [1 / 3] * 3, sky, camera["pixel_um"], half_px, samples=3
        )
        corner = np.floor(place_px).astype(int) - half_px + 1
        local = place_px - corner
        stamp = star.pixels(tuple(local), 2 * half_px, 2 * half_px)
        electrons = 10 ** rng.uniform(4.5, 5.4)
        expected[corner[1] : corner[1] + 2 * half_px, corner[0] : corner[0] + 2 * half_px] += electrons * stamp
    return cameras.counts(expected, camera, {}, rng).astype(np.uint16)


def write(world, rng, folder, turned=False):
    """The typed scenario and the frame (or two); returns the words for the program."""
    _, _, width, height = EXTENTS[world["telescope"]]
    telescope = {**TELESCOPE, "field": TELESCOPES[world["telescope"]]["field"]}
    document = {
        "format": 1, "title": "Invented field", "telescope": telescope,
        "assembly": {**ASSEMBLY, "response": TELESCOPES[world["telescope"]]["response"]}, "camera": {**CAMERA, "width_px": width, "height_px": height},
    }  # fmt: skip
    (folder / "typed.toml").write_text(files.toml(document))
    names = ["frame.fits"] + (["turned.fits"] if turned else [])
    for name in names:
        pixels = frame_of(world, rng, name == "turned.fits")
        header = fits.Header([("EXPTIME", 2.0, "s"), ("ROWORDER", "BOTTOM-UP")])
        fits.PrimaryHDU(pixels, header).writeto(folder / name, overwrite=True)
    words = [str(folder / "frame.fits"), "--instrument", str(folder / "typed.toml"), "--whole-frame", "--corners"]
    return words + (["--second", str(folder / "turned.fits"), "--turned", "180"] if turned else [])


def judged(task):
    """One field asked: a row of the table."""
    program, kinds, number, telescope, turned = task
    world, rng = draw(kinds, number, telescope)
    with tempfile.TemporaryDirectory() as folder:
        words = write(world, rng, pathlib.Path(folder), turned)
        asked = ask.measure(program, words, 300.0)
    report = asked.report or {}
    corners = (report.get("whole_frame") or {}).get("corners") or {}
    named = sorted(trouble["kind"] for trouble in corners.get("troubles", []))
    trade = corners.get("trade") or {}
    next_step = (report.get("next") or {}).get("do")
    turns = next_step in ("turn", "trial")
    mends = bool({"unit_tilt", "decentre", "sensor_tilt"} & set(kinds))
    row = {
        "telescope": telescope, "kinds": " ".join(kinds), "number": number, "turned": int(turned), "named": " ".join(named),
        "right": int(named == sorted(kinds)), "among": int(any(sorted(s) == sorted(set(kinds) - {"focus"}) for s in corners.get("or_else", []))),
        "do": next_step, "turn_that_mends_nothing": int(turns and not mends), "worth_it": trade.get("worth_it"),
        "side_open": corners.get("side_open"), "scatter": corners.get("scatter_ratio"), "stars": corners.get("stars_used"),
        "processor_s": round(asked.processor_s, 2), "message": asked.message,
    }  # fmt: skip
    return {**row, **errors(world, corners)}


def errors(world, corners):
    """Error over sigma of node (mm, two) and slope of the focal plane (um per mm, two), and of the named sizes."""
    response, field = (TELESCOPES[world["telescope"]][name] for name in ("response", "field"))
    given, found = world["hidden"], {}
    unit = response["coma_nm_per_arcmin"] * given["unit_tilt"] + response["decentre_coma_nm_per_mm"] * given["decentre"]
    node = -unit / field["coma_nm_per_mm"]
    slope = 1e3 * ARCMIN * (given["sensor_tilt"] + given["unit_tilt"])
    for name, key, true in (("node", "node_mm", node), ("slope", "slope_um_per_mm", slope)):
        for axis, part in enumerate((true.real, true.imag)):
            told = (corners.get(key) or [None, None])[axis]
            found[f"{name}_{'xy'[axis]}_over_sigma"] = round((told["value"] - part) / told["sigma"], 3) if told else None
            found[f"{name}_{'xy'[axis]}_sigma"] = told["sigma"] if told else None
    return found


def report(arguments):
    """Fields of every kind, asked and judged; writes STEM.csv and prints the shares."""
    kinds = [tuple(arguments.kind.split())] if arguments.kind is not None else KINDS
    numbers = range(arguments.start, arguments.start + arguments.count)
    tasks = [(arguments.program, kind, number, arguments.telescope, arguments.turned) for kind in kinds for number in numbers]
    with ProcessPoolExecutor(arguments.jobs) as pool:
        rows = []
        for row in pool.map(judged, tasks):
            rows.append(row)
            print(json.dumps(row), flush=True)
    with open(f"{arguments.table}.csv", "w", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    for kind in kinds:
        of_kind = [row for row in rows if row["kinds"] == " ".join(kind)]
        right, wrong_turns = sum(row["right"] for row in of_kind), sum(row["turn_that_mends_nothing"] for row in of_kind)
        print(f"{' '.join(kind) or 'nothing':<24} named rightly {right} of {len(of_kind)}, turns that mend nothing {wrong_turns}")
    return 0
