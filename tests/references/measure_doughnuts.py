#!/usr/bin/env python3
"""Measure coma on a set of doughnuts with general-purpose libraries only, and write the answers for `skewstar score`.

    python measure_doughnuts.py SET_FOLDER ANSWERS.csv

An example of an outside program, not a good one: background by a median, the ring by a threshold, its outside by filled
area moments, its dark centre by a circle fitted to the inner edge. Coma follows from the dark centre's place by geometrical
optics: shift = 6 N W131 (1 - e^2) with W131 = sqrt(72) times Noll 8 (along x) or Noll 7 (along y). It knows the telescope
(focal ratio, obstruction, pixel), as an owner does, and reads nothing but the frames.
"""
import csv
import glob
import re
import sys
import tomllib
from pathlib import Path

import numpy as np
from scipy import ndimage, optimize


def telescope(folder):
    """Focal ratio, obstruction over aperture and pixel in micrometres, from the scenario that lies beside the set."""
    path = next(iter(glob.glob(str(Path(folder) / "*.scenario.toml"))))
    data = tomllib.loads(Path(path).read_text())
    aperture = data["telescope"]["aperture_mm"]
    ratio = data["telescope"]["focal_length_mm"] / aperture
    return ratio, data["telescope"]["obstruction"]["diameter_mm"] / aperture, data["camera"]["pixel_um"]


def fitted_circle(x, y):
    """Centre and radius of the circle through some points, by least squares."""
    start = [x.mean(), y.mean(), np.hypot(x - x.mean(), y - y.mean()).mean()]
    fit = optimize.least_squares(lambda p: np.hypot(x - p[0], y - p[1]) - p[2], start, loss="soft_l1", f_scale=0.5)
    return fit.x


def measure(frame):
    """Dark centre minus centre of the outer edge, in pixels; None when there is no ring to be seen."""
    image = ndimage.zoom(ndimage.gaussian_filter(frame.astype(float), 0.8), 2, order=1, grid_mode=True, mode="nearest")
    image -= np.median(np.concatenate([image[:6].ravel(), image[-6:].ravel()]))
    ring = image > 0.4 * np.percentile(image, 90)
    labels, count = ndimage.label(ring)
    if count == 0:
        return None
    ring = labels == 1 + np.argmax(ndimage.sum_labels(ring, labels, range(1, count + 1)))
    ring = ndimage.binary_closing(ring, iterations=3)
    outside = ndimage.binary_fill_holes(ring)
    holes, count = ndimage.label(outside & ~ring)
    if count == 0:
        return None
    sizes = ndimage.sum_labels(np.ones_like(holes), holes, range(1, count + 1))
    hole = holes == 1 + np.argmax(sizes)
    if hole.sum() < 12:
        return None
    y, x = np.nonzero(hole & ~ndimage.binary_erosion(hole))
    dark_x, dark_y, _ = fitted_circle(x.astype(float), y.astype(float))
    outer_y, outer_x = ndimage.center_of_mass(outside)
    return 0.5 * (dark_x - outer_x), 0.5 * (dark_y - outer_y)


def main():
    folder, answers = sys.argv[1:]
    ratio, obstruction, pixel_um = telescope(folder)
    nm_per_px = 1e3 * pixel_um / (6.0 * ratio * np.sqrt(72.0) * (1.0 - obstruction**2))
    with open(answers, "w", newline="") as file:
        out = csv.writer(file)
        out.writerow(["item", "dark_shift_px.x", "dark_shift_px.y", "modes_nm.8", "modes_nm.7", "flagged"])
        shards = [name for name in glob.glob(f"{folder}/*.npz") if re.search(r"\d{10}-\d{10}\.npz$", name)]
        for shard in sorted(shards):
            data = np.load(shard)
            for item, frame in zip(data["item"], data["frames"]):
                found = measure(frame)
                if found is None:
                    out.writerow([item, "", "", "", "", "true"])
                    continue
                x, y = found
                out.writerow([item, f"{x:.4f}", f"{y:.4f}", f"{x * nm_per_px:.3f}", f"{y * nm_per_px:.3f}", ""])


if __name__ == "__main__":
    main()
