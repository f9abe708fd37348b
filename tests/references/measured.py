"""Frames to be measured: stars by hcipy, blurred by GalSim, photons and read noise drawn by numpy.

Each wavelength is blurred by its own Kolmogorov profile. The star stands a little aside from the middle of the frame, and the
counts are what a camera would deliver: bias, gain, rounded. The draws depend on the expected electrons through numpy's
Poisson generator; these are rounded first, so that rounding errors of another machine draw the same photons.
"""

import galsim
import numpy as np

import seeing
from propagate import Sampling, hcipy_irradiance
from scenes import wavelengths_nm

KEPT = Sampling(cells=1024, points=377, subpixels=7)
COMPARED = Sampling(cells=768, points=233, subpixels=5)
RESOLUTION_LIMIT = 1e-3  # relative L2 of the expected light; the photons of a whole frame are 1e-3 of it

READOUT = {
    "electrons": 1.0e6,
    "background_e_per_px": 24.0,
    "read_noise_e": 1.6,
    "gain_e_per_adu": 0.8,
    "bias_adu": 500.0,
    "aside_px": [0.31, -0.18],
}
DECIMALS = 6


def light(scenario, sampling):
    """Pixel fractions, the star aside as in READOUT, bins weighted equally."""
    return np.mean([_bin(scenario, sampling, nm) for nm in wavelengths_nm(scenario)], axis=0)


def counts(fractions, seed):
    """What the camera delivers, in whole counts."""
    draw = np.random.default_rng(seed)
    expected_e = np.round(fractions * READOUT["electrons"] + READOUT["background_e_per_px"], DECIMALS)
    read_e = draw.poisson(expected_e) + draw.normal(0.0, READOUT["read_noise_e"], expected_e.shape)
    return np.round(read_e / READOUT["gain_e_per_adu"] + READOUT["bias_adu"])


def _bin(scenario, sampling, wavelength_nm):
    """One wavelength: samples on a grid wider than the frame, shifted against the star, then seeing and pixels by GalSim."""
    camera = {**scenario["camera"], "passband_nm": [wavelength_nm, wavelength_nm], "wavelengths": 1}
    single = {**scenario, "camera": camera}
    step_um = camera["pixel_um"] / sampling.subpixels
    x_um, y_um = (
        (np.arange(count) - (count - 1) / 2) * step_um - aside_px * camera["pixel_um"]
        for aside_px, count in zip(
            READOUT["aside_px"],
            ((camera[side] + 2 * seeing.MARGIN_PX) * sampling.subpixels for side in ("width_px", "height_px")),
        )
    )
    return seeing.by_galsim(single, hcipy_irradiance(single, sampling, x_um, y_um), step_um)
