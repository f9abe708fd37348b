"""From expected electrons to counts, with what goes wrong in cameras. Row 0 is the bottom row throughout.

`camera` holds the scenario's keys; `defects` what the owner does not know of: `hot` and `cosmics` (counts of pixels),
`dead_column` (a column's number) and `flat_rms`.
"""

import numpy as np

FILTERS = "RGB"


def colour_of_pixels(pattern, width_px, height_px):
    """The filter's number (0 red, 1 green, 2 blue) over each pixel; the pattern is read from row 0, left to right."""
    rows, columns = np.indices((height_px, width_px))
    letters = np.array([FILTERS.index(letter) for letter in pattern])
    return letters[2 * (rows % 2) + columns % 2]


def counts(electrons, camera, defects, rng):
    """What the converter delivers: photons by chance, flat, dark pixels, full well, read noise, gain, bias, whole counts."""
    flat = 1 + defects.get("flat_rms", 0.0) * rng.standard_normal(electrons.shape)
    held = rng.poisson(np.maximum(electrons * flat, 0.0)).astype(float)
    held += _hot_pixels(held.shape, defects.get("hot", 0), rng) + _cosmics(held.shape, defects.get("cosmics", 0), rng)
    held = np.minimum(held, camera["full_well_e"])
    if defects.get("dead_column") is not None:
        held[:, defects["dead_column"]] = 0.0
    read = held + camera["read_noise_e"] * rng.standard_normal(held.shape)
    raw = np.round(read / camera["gain_e_per_adu"] + camera["bias_adu"])
    return np.clip(raw, 0, 2 ** camera["bits"] - 1)


def _hot_pixels(shape, how_many, rng):
    extra = np.zeros(shape)
    for _ in range(how_many):
        extra[rng.integers(shape[0]), rng.integers(shape[1])] += rng.uniform(1500.0, 20000.0)
    return extra


def _cosmics(shape, how_many, rng):
    """Short straight tracks of 2 to 9 pixels."""
    extra = np.zeros(shape)
    for _ in range(how_many):
        y, x = rng.uniform(0, shape[0]), rng.uniform(0, shape[1])
        angle, light = rng.uniform(0, 2 * np.pi), rng.uniform(800.0, 6000.0)
        for step in range(rng.integers(2, 10)):
            row, column = int(y + step * np.sin(angle)), int(x + step * np.cos(angle))
            if 0 <= row < shape[0] and 0 <= column < shape[1]:
                extra[row, column] += light * rng.uniform(0.5, 1.5)
    return extra


def written(raw, how, bias_adu, noise_adu):
    """What a capturing program may do to the counts before they are written; returns (array, depth in bits).

    `how["kind"]`: "linear", "gamma-8", "gamma-16", "asinh-16", "clipped" or "jpeg" (the last is gamma-8 before it is coded).
    A stretched file's brightest pixel is at `how["top"]` (1 where it is left out) of what the file can hold.
    """
    kind = how.get("kind", "linear")
    if kind == "linear":
        return raw.astype(np.uint16), 16
    if kind == "clipped":
        return np.maximum(raw - bias_adu - how["over_sigma"] * noise_adu, 0.0).astype(np.uint16), 16
    black, white = bias_adu - 3 * noise_adu, float(raw.max())
    level, top = np.clip((raw - black) / (white - black), 0.0, 1.0), how.get("top", 1.0)
    if kind == "asinh-16":
        return _to_bits(top * np.arcsinh(level * how["strength"]) / np.arcsinh(how["strength"]), 16), 16
    depth = 16 if kind == "gamma-16" else 8
    return _to_bits(top * level ** (1 / how["gamma"]), depth), depth


def _to_bits(level, depth):
    return np.round(level * (2**depth - 1)).astype(np.uint16 if depth == 16 else np.uint8)
