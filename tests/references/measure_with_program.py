#!/usr/bin/env python3
"""Measure a set with the program itself, as an owner would: one FITS file at a time. Writes answers for `skewstar score`.

    python measure_with_program.py PROGRAM SET_FOLDER ANSWERS.jsonl

What an owner knows is told: telescope and camera from the scenario beside the set, and the side of focus, where the set
gives it. Nothing else is read but the frames.
"""
import glob
import json
import subprocess
import sys
import tempfile
import tomllib
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
from astropy.io import fits


def the_one(folder, ending):
    """The path of the only file in the folder with this ending."""
    (path,) = glob.glob(f"{folder}/*{ending}")
    return path


def camera_settings(folder):
    """The camera keys that the recipe sets, as `--set` wants them."""
    recipe = tomllib.loads(Path(the_one(folder, ".recipe.toml")).read_text())
    keys = {key: value for key, value in recipe["set"].items() if key.startswith(("camera.", "exposure."))}
    return [word for key, value in keys.items() for word in ("--set", f"{key}={value}")]


def measured(program, folder, settings, item, frame, sensor_offset_um):
    """What the program says about one frame; None where it cannot measure it."""
    with tempfile.TemporaryDirectory() as out:
        path = f"{out}/star.fits"
        fits.writeto(path, frame)
        side = ["--side", "outside" if sensor_offset_um > 0 else "inside"] if sensor_offset_um else []
        command = [program, "measure", path, "--instrument", the_one(folder, ".scenario.toml"), "--json", "--quiet", "--out", out]
        run = subprocess.run(command + settings + side, capture_output=True, text=True)
    if run.returncode not in (0, 1):
        print(f"item {item}: {run.stderr.strip()}", file=sys.stderr)
        return None
    return {"item": int(item), "measured": json.loads(run.stdout)}


def main():
    program, folder, answers = sys.argv[1:]
    settings = camera_settings(folder)
    jobs = []
    for shard in sorted(glob.glob(f"{folder}/*.npz")):
        data = np.load(shard)
        offsets = data["state.sensor_offset_um"] if "state.sensor_offset_um" in data else [None] * len(data["item"])
        jobs.extend((program, folder, settings, *job) for job in zip(data["item"], data["frames"], offsets))
    with ThreadPoolExecutor(2) as pool:
        found = pool.map(lambda job: measured(*job), jobs)
        lines = [json.dumps(answer) for answer in found if answer is not None]
    Path(answers).write_text("\n".join(lines) + "\n")


if __name__ == "__main__":
    main()
