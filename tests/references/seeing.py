"""Long-exposure seeing and the pixel integral on a sampled star image: by GalSim, and by scipy's FFT as a check.

The star is sampled over `MARGIN_PX` pixels more than the frame on each side, because the blur carries light in from there.
Angles become lengths on the sensor by the focal length alone (a small angle times f).
"""

import galsim
import numpy as np
import scipy.fft

from propagate import hcipy_irradiance
from scenes import wavelengths_nm

MARGIN_PX = 30
SEEING_REFERENCE_NM = 500.0
ARCSEC = np.pi / 180 / 3600
GALSIM_FWHM_OVER_LAMBDA_R0 = 0.9758634299  # for GalSim's exact structure constant, 6.8838772


def kasten_young_airmass(altitude_deg):
    """Kasten and Young 1989, apparent altitude in degrees."""
    return 1 / (np.sin(np.radians(altitude_deg)) + 0.50572 * (altitude_deg + 6.07995) ** -1.6364)


def fwhm_arcsec(scenario):
    """Seeing at the star's altitude and the one wavelength of the scene."""
    (wavelength_nm,) = wavelengths_nm(scenario)
    airmass = kasten_young_airmass(scenario["star"]["altitude_deg"])
    return scenario["sky"]["seeing_arcsec"] * airmass**0.6 * (wavelength_nm / SEEING_REFERENCE_NM) ** -0.2


def star_samples(scenario, sampling):
    """Share of the light per square um at sub-pixel centres, frame and margin, and the step in um."""
    camera = scenario["camera"]
    step_um = camera["pixel_um"] / sampling.subpixels
    x_um, y_um = (
        (np.arange(count) - (count - 1) / 2) * step_um
        for count in ((camera[side] + 2 * MARGIN_PX) * sampling.subpixels for side in ("width_px", "height_px"))
    )
    return hcipy_irradiance(scenario, sampling, x_um, y_um), step_um


def by_galsim(scenario, irradiance, step_um):
    """Pixel fractions: sampled star, convolved with galsim.Kolmogorov and integrated over the pixels by drawImage."""
    camera = scenario["camera"]
    um_arcsec = 1e-6 / (scenario["telescope"]["focal_length_mm"] * 1e-3) / ARCSEC
    tight = galsim.GSParams(folding_threshold=2e-4, maxk_threshold=1e-5, kvalue_accuracy=1e-8, maximum_fft_size=16384)
    star = galsim.InterpolatedImage(
        galsim.Image(irradiance, scale=step_um * um_arcsec),
        x_interpolant=galsim.Lanczos(15),
        flux=irradiance.sum() * step_um**2,
        normalization="sb",
        gsparams=tight,
    )
    blurred = galsim.Convolve(star, galsim.Kolmogorov(fwhm=fwhm_arcsec(scenario), gsparams=tight), gsparams=tight)
    frame = blurred.drawImage(
        nx=camera["width_px"], ny=camera["height_px"], scale=camera["pixel_um"] * um_arcsec, dtype=float, method="fft"
    )
    return frame.array


def by_scipy(scenario, irradiance, step_um, half_structure_constant, fwhm_over_lambda_r0):
    """Pixel fractions: the star's spectrum times exp(-c (lambda f nu / r0)^(5/3)) times the pixel's sinc.

    The number of sub-pixels must be odd, so that one of them sits at each pixel's centre.
    """
    camera = scenario["camera"]
    subpixels = round(camera["pixel_um"] / step_um)
    if subpixels % 2 == 0:
        raise ValueError(f"{subpixels} sub-pixels have none at the pixel's centre")
    shape = [2 * count for count in irradiance.shape]
    frequency_y, frequency_x = (scipy.fft.fftfreq(count, step_um) for count in shape)
    frequency = np.hypot(frequency_y[:, None], frequency_x[None, :])
    fwhm_um = fwhm_arcsec(scenario) * ARCSEC * scenario["telescope"]["focal_length_mm"] * 1e3
    transfer = np.exp(-half_structure_constant * (frequency * fwhm_um / fwhm_over_lambda_r0) ** (5 / 3))
    transfer *= np.outer(np.sinc(frequency_y * camera["pixel_um"]), np.sinc(frequency_x * camera["pixel_um"]))
    spectrum = scipy.fft.fft2(irradiance, shape) * transfer
    pixels_at_samples = scipy.fft.ifft2(spectrum).real * camera["pixel_um"] ** 2
    first = MARGIN_PX * subpixels + subpixels // 2
    rows = first + subpixels * np.arange(camera["height_px"])
    columns = first + subpixels * np.arange(camera["width_px"])
    return pixels_at_samples[np.ix_(rows, columns)]
