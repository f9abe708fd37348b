#!/usr/bin/env python3
"""Train a regressor on frames of a set and judge it on others, against the photons' bound with the star's place unknown and known.

    python regressor.py TRAINING_FOLDER TEST_FOLDER [ANSWERS.csv]

The frames of both folders are of one recipe, those of the second with `photon_bound = true`. Each frame is put on its background and
its flux, and its principal components (with their products with the side of focus, which is handed out, and all squares) go through
a ridge regression whose strength is chosen by leave-one-out errors. Printed is, for Noll 7 and 8, the RMS of error over bound with its
standard error: below 1 by more than three of them would say that the bound is none for this set. With ANSWERS.csv the answers are written
for `skewstar score`.
"""
import csv
import glob
import sys

import numpy as np
from sklearn.decomposition import PCA
from sklearn.linear_model import RidgeCV
from sklearn.preprocessing import StandardScaler

COMPONENTS = 60
SQUARED = 25
MODES = (7, 8)


def load(folder):
    shards = [name for name in sorted(glob.glob(f"{folder}/*.npz"))]
    arrays = [np.load(name) for name in shards]
    frames = np.concatenate([a["frames"] for a in arrays]).astype(float)
    offset = np.concatenate([a["state.sensor_offset_um"] for a in arrays])
    rows = [row for name in sorted(glob.glob(f"{folder}/*.truth.csv")) for row in csv.DictReader(open(name))]
    number = lambda name: np.array([float(row[name] or "nan") for row in rows])  # noqa: E731
    return frames, offset, rows, number


def prepared(frames):
    border = np.concatenate([frames[:, :2].reshape(len(frames), -1), frames[:, -2:].reshape(len(frames), -1)], axis=1)
    light = frames - np.median(border, axis=1)[:, None, None]
    flux = light.sum(axis=(1, 2))
    shares = light.reshape(len(frames), -1) / flux[:, None]
    return shares, np.log(np.maximum(flux, 1.0))


class Regressor:
    def fit(self, frames, offset, targets):
        shares, flux = prepared(frames)
        self.pca = PCA(COMPONENTS, random_state=0).fit(shares)
        self.scale = StandardScaler()
        design = self.scale.fit_transform(self.design(shares, flux, offset))
        self.ridge = RidgeCV(np.logspace(-4, 4, 33)).fit(design, targets)
        return self

    def design(self, shares, flux, offset):
        parts = self.pca.transform(shares)
        parts = parts / self.pca.singular_values_ * np.sqrt(len(parts))
        side = np.sign(offset)[:, None]
        size = (np.abs(offset) / np.abs(offset).mean() - 1.0)[:, None]
        few = parts[:, :SQUARED]
        pairs = np.einsum("ni,nj->nij", few, few)[:, *np.triu_indices(SQUARED)]
        light = (flux - flux.mean())[:, None]
        return np.hstack([parts, side * parts, size * parts, light * parts, pairs, side * pairs, side])

    def answer(self, frames, offset):
        shares, flux = prepared(frames)
        return self.ridge.predict(self.scale.transform(self.design(shares, flux, offset)))


def ratio(error, sigma):
    """RMS of error over sigma, and its standard error."""
    squares = (error / sigma) ** 2
    squares = squares[np.isfinite(squares)]
    rms = np.sqrt(squares.mean())
    return rms, squares.std() / np.sqrt(len(squares)) / (2.0 * rms), len(squares)


def main():
    training, test = sys.argv[1:3]
    frames, offset, _, number = load(training)
    targets = np.stack([number(f"modes_nm.{noll}") for noll in MODES], axis=1)
    regressor = Regressor().fit(frames, offset, targets)
    frames, offset, rows, number = load(test)
    found = regressor.answer(frames, offset)
    for at, noll in enumerate(MODES):
        error = found[:, at] - number(f"modes_nm.{noll}")
        for name in ("sigma_photon_nm", "sigma_photon_place_known_nm"):
            rms, sigma, count = ratio(error, number(f"{name}.{noll}"))
            print(f"Noll {noll}: error {np.sqrt((error**2).mean()):.2f} nm RMS, {rms:.3f} ± {sigma:.3f} of {name} ({count} frames)")
    if len(sys.argv) > 3:
        with open(sys.argv[3], "w", newline="") as file:
            out = csv.writer(file)
            out.writerow(["item"] + [f"modes_nm.{noll}" for noll in MODES])
            out.writerows([row["item"], *(f"{value:.4f}" for value in values)] for row, values in zip(rows, found))


if __name__ == "__main__":
    main()
