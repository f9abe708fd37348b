"""Worlds on disk: the scenario as an owner types it, frames as cameras write them, and the truth that no program sees."""

import csv
import json
import pathlib

import numpy as np
from astropy.io import fits
from PIL import Image

ENDINGS = {"fits": ".fits", "png": ".png", "tiff": ".tif", "jpeg": ".jpg"}


def write_scenario(path, world, orientation=None, with_kind=False):
    """The typed file. `orientation` "known" or "assumed" writes that key, and `with_kind` the kind of cell."""
    typed = world["typed"]
    camera, assembly = dict(typed["camera"]), dict(typed["assembly"])
    if orientation:
        camera["orientation"] = orientation
    if not with_kind:
        assembly.pop("kind", None)
    document = {
        "format": 1,
        "title": f"Invented telescope {world['telescope']}, as its owner typed it",
        "telescope": _without_empty(typed["telescope"]),
        "assembly": assembly,
        "mask": typed.get("mask"),
        "camera": camera,
        "exposure": typed["exposure"],
    }
    path.write_text(toml({key: value for key, value in document.items() if value is not None}))


def _without_empty(section):
    return {key: value for key, value in section.items() if value not in ([], None)}


def toml(document, prefix=""):
    """TOML of nested dicts: plain values first, then tables, then arrays of tables."""
    plain, tables = [], []
    for key, value in document.items():
        name = f"{prefix}{key}"
        if isinstance(value, dict):
            tables.append(f"\n[{name}]\n{toml(value, name + '.')}")
        elif isinstance(value, list) and value and isinstance(value[0], dict) and key != "screws":
            tables += [f"\n[[{name}]]\n{toml(item, name + '.')}" for item in value]
        else:
            plain.append(f"{key} = {_toml_value(value)}\n")
    return "".join(plain) + "".join(tables)


def _toml_value(value):
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_toml_value(item)}" for key, item in value.items()) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_toml_value(item) for item in value) + "]"
    return json.dumps(value)


def write_frame(path, pixels, how, exposure_s, cards=()):
    """One frame; pixels have row 0 at the bottom. `how["file"]` is fits, png, tiff or jpeg."""
    if how["file"] == "fits":
        header = fits.Header([("EXPTIME", exposure_s, "s"), ("ROWORDER", "BOTTOM-UP"), *cards])
        fits.PrimaryHDU(pixels, header).writeto(path, overwrite=True)
        return
    picture = Image.fromarray(np.ascontiguousarray(pixels[::-1]))
    if how["file"] == "jpeg":
        picture.save(path, quality=how.get("quality", 90))
    else:
        picture.save(path)


def write_json(path, content):
    """Sorted keys, so that the same world gives the same bytes."""
    path.write_text(json.dumps(content, indent=1, sort_keys=True, default=_plain) + "\n")


def _plain(value):
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, np.ndarray):
        return value.tolist()
    raise TypeError(f"{type(value).__name__} has no place in a truth file")


def write_table(stem, columns, lines, summary):
    """STEM.csv with a line each, STEM.json with the summary."""
    stem = pathlib.Path(stem)
    stem.parent.mkdir(parents=True, exist_ok=True)
    with stem.with_name(stem.name + ".csv").open("w", newline="") as file:
        writer = csv.DictWriter(file, columns, lineterminator="\n")
        writer.writeheader()
        writer.writerows({key: _short(value) for key, value in line.items()} for line in lines)
    write_json(stem.with_name(stem.name + ".json"), summary)


def _short(value):
    return f"{value:.4g}" if isinstance(value, float) else value


def picture(pixels, path, power=0.5):
    """An 8-bit picture for human eyes, top row first."""
    values = pixels.astype(float)
    low, high = np.percentile(values, [5.0, 99.9])
    level = np.clip((values - low) / max(high - low, 1.0), 0.0, 1.0) ** power
    Image.fromarray(np.round(level[::-1] * 255).astype(np.uint8)).resize(
        (pixels.shape[1] * 3, pixels.shape[0] * 3), Image.NEAREST
    ).save(path)
