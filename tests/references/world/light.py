"""From the pupil to pixels: matrix Fourier transforms at several wavelengths, seeing and the pixel in the spectrum.

The irradiance is sampled on a square around the star, finely enough that what folds over is taken away by pixel and
atmosphere. A star at any place is the same spectrum with its phase turned, so neighbours cost next to nothing.
"""

import math

import numpy as np
import scipy.fft

from . import seeing

FEWEST_CELLS = 320
CELLS_BEHIND_MASK = 512


class StarLight:
    """The spectrum of one star after telescope, atmosphere and pixel; `pixels` puts it anywhere in a frame."""

    def __init__(self, half_px, samples, spectrum):
        self.half_px, self.samples, self.spectrum = half_px, samples, spectrum

    def pixels(self, star_px, width_px, height_px):
        """Share of the star's light in each pixel of a frame, [row, column], row 0 at the bottom."""
        base_x, base_y = (math.floor(place + 0.5) for place in star_px)
        count = self.spectrum.shape[0]
        phase_y = np.exp(-2j * np.pi * scipy.fft.fftfreq(count) * self.samples * (star_px[1] - base_y))
        phase_x = np.exp(-2j * np.pi * scipy.fft.rfftfreq(count) * self.samples * (star_px[0] - base_x))
        image = scipy.fft.irfft2(self.spectrum * phase_y[:, None] * phase_x, (count, count))
        stamp = image[:: self.samples, :: self.samples]
        frame = np.zeros((height_px, width_px))
        first_x, first_y = base_x - self.half_px, base_y - self.half_px
        columns = slice(max(first_x, 0), min(first_x + stamp.shape[1], width_px))
        rows = slice(max(first_y, 0), min(first_y + stamp.shape[0], height_px))
        if columns.start < columns.stop and rows.start < rows.stop:
            frame[rows, columns] = stamp[
                rows.start - first_y : rows.stop - first_y, columns.start - first_x : columns.stop - first_x
            ]
        return frame


def cells_needed(half_px, pixel_um, telescope, shortest_nm, masked):
    """Cells across the pupil for which light in the square does not fold over, a multiple of 64."""
    reach_um = half_px * pixel_um * 1.15
    least = 2 * reach_um * telescope["aperture_mm"] / (shortest_nm * 1e-3 * telescope["focal_length_mm"])
    return 64 * math.ceil(max(least, CELLS_BEHIND_MASK if masked else FEWEST_CELLS) / 64)


def star_light(pupil, path_nm, wavelengths_nm, weights, sky, pixel_um, half_px, samples=None, divide_cells=False):
    """The star's spectrum: per wavelength the irradiance, transformed, through atmosphere and pixel, weighed and added.

    `path_nm` is a function of the wavelength that gives W on the open cells. `divide_cells` takes the cells' own pattern out:
    right where edges, not slopes, send the light aside (behind a mask near focus).
    """
    focal_ratio = pupil.focal_mm / (2 * pupil.radius_mm)
    samples = samples or samples_needed(pixel_um, focal_ratio, min(wavelengths_nm), sky, pupil.focal_mm)
    half_px = scipy.fft.next_fast_len(half_px, real=True)
    count, step_um = 2 * half_px * samples, pixel_um / samples
    place_um = (np.arange(count) - half_px * samples) * step_um
    nu_y, nu_x = scipy.fft.fftfreq(count, step_um), scipy.fft.rfftfreq(count, step_um)
    pixel = np.outer(np.sinc(nu_y * pixel_um), np.sinc(nu_x * pixel_um)) * pixel_um**2
    grid_y, grid_x = np.meshgrid(nu_y, nu_x, indexing="ij")
    total = 0.0
    for wavelength_nm, weight in zip(wavelengths_nm, weights):
        samples_of_light = irradiance(pupil, path_nm(wavelength_nm), wavelength_nm, place_um, divide_cells)
        air = seeing.transfer(sky, pupil.focal_mm, pixel_um, wavelength_nm, grid_x, grid_y)
        total = total + weight * scipy.fft.rfft2(samples_of_light) * air
    return StarLight(half_px, samples, total * pixel)


def samples_needed(pixel_um, focal_ratio, shortest_nm, sky, focal_mm):
    """Samples across a pixel: the step must be finer than 1 / (cutoff of the optics + what atmosphere and pixel pass)."""
    cutoff = 1 / (shortest_nm * 1e-3 * focal_ratio)
    fwhm_um = max(sky["fwhm_arcsec"] * seeing.ARCSEC * focal_mm * 1e3, 0.3 * pixel_um)
    passed = min(cutoff, 1.2 / fwhm_um)
    return max(2, math.ceil(pixel_um * (cutoff + passed)))


def irradiance(pupil, path_nm, wavelength_nm, place_um, divide_cells):
    """Share of the light per square um at the points of a square grid, [y, x]."""
    wavelength_um = wavelength_nm * 1e-3
    kernel = np.exp(-2j * np.pi * np.outer(place_um, pupil.axis) / wavelength_um).astype(np.complex64)
    amplitude = kernel @ pupil.field(path_nm, wavelength_nm) @ kernel.T
    light = amplitude.real**2 + amplitude.imag**2
    light *= pupil.step**4 / (wavelength_um**2 * pupil.light)
    if divide_cells:
        cell = np.sinc(place_um * pupil.step / wavelength_um) ** 2
        light /= np.outer(cell, cell)
    return light
