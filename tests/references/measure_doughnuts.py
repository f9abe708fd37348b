#!/usr/bin/env python3
"""Measure coma on a set of doughnuts with general-purpose libraries only, and write the answers for `skewstar score`.

    python measure_doughnuts.py SET_FOLDER ANSWERS.csv

An example of an outside program, not a good one: background by a median, the doughnut by a threshold and its middle by
moments, then circles fitted to the inner and the outer edge. Coma follows from the dark centre's place by geometrical
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


def edges(image, centre):
    """Points of the inner and of the outer edge: along each spoke, where the light falls to half of the spoke's brightest."""
    radii = np.arange(0.0, 0.5 * min(image.shape), 0.25)
    inner, outer = [], []
    for angle in np.arange(0.0, 2.0 * np.pi, np.pi / 36.0):
        x, y = centre[0] + radii * np.cos(angle), centre[1] + radii * np.sin(angle)
        spoke = ndimage.map_coordinates(image, [y, x], order=1)
        top = int(np.argmax(spoke))
        dark = np.nonzero(spoke < 0.5 * spoke[top])[0]
        for found, side in ((dark[dark < top][-1:], inner), (dark[dark > top][:1], outer)):
            side.extend((x[k], y[k]) for k in found)
    return np.array(inner), np.array(outer)


def measure(frame):
    """Dark centre minus centre of the outer edge, in pixels; None when there is no ring to be seen."""
    image = ndimage.gaussian_filter(frame.astype(float), 0.6)
    image -= np.median(np.concatenate([image[:3].ravel(), image[-3:].ravel()]))
    bright = ndimage.binary_fill_holes(image > 0.3 * np.percentile(image, 95))
    labels, count = ndimage.label(bright)
    if count == 0:
        return None
    largest = labels == 1 + np.argmax(ndimage.sum_labels(bright, labels, range(1, count + 1)))
    y, x = ndimage.center_of_mass(largest)
    inner, outer = edges(image, (x, y))
    if len(inner) < 54 or len(outer) < 54:
        return None
    dark, rim = fitted_circle(*inner.T), fitted_circle(*outer.T)
    if not 1.0 < dark[2] < rim[2] - 2.0:
        return None
    return dark[0] - rim[0], dark[1] - rim[1]


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
