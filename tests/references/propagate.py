"""Pixel fractions of a scene by two libraries that share nothing but the outline of the pupil.

* `by_hcipy`: each pupil cell holds the mean of the complex field over the cell; hcipy's Fraunhofer propagator takes it to
  Gauss-Legendre points within each pixel; the cell's own (sinc) pattern is divided out, so that only aliasing is left.
* `by_prysm`: each pupil cell holds its open share times the phase at its centre; prysm's fixed-sampling propagation takes
  it to equal sub-pixels; two midpoint rules on them are extrapolated.

Both return the share of the light passing the pupil that falls in each pixel, [row, column], row 0 at the bottom. Both
libraries transform with the kernel exp(-2 pi i ...), so both get the pupil field exp(-2 pi i W / lambda) as it is.
"""

from dataclasses import dataclass

import hcipy
import numpy as np
import prysm.propagation

import outlines
from scenes import wavelengths_nm
from wavefront import hcipy_noll, prysm_noll, wavefront_nm

GRID_MARGIN = 1.0073  # the grid is this much wider than the aperture, so that no edge lies on a row of cell borders
CUT_CELLS_AT_ONCE = 300


@dataclass(frozen=True)
class Sampling:
    """How finely a scene is sampled."""

    cells: int  # pupil cells across the grid
    points: int  # sample points in each cell that an edge may cut
    subpixels: int  # points across a pixel


def by_hcipy(scenario, sampling):
    """Pixel fractions, bins weighted equally."""
    camera = scenario["camera"]
    x_um, weights_x_um = _gauss_points(camera["width_px"], camera["pixel_um"], sampling.subpixels)
    y_um, weights_y_um = _gauss_points(camera["height_px"], camera["pixel_um"], sampling.subpixels)

    irradiance = hcipy_irradiance(scenario, sampling, x_um, y_um)
    return _sum_blocks(irradiance * np.outer(weights_y_um, weights_x_um), camera, sampling.subpixels)


def hcipy_irradiance(scenario, sampling, x_um, y_um):
    """Share of the light per square um at the points of a separated grid on the sensor, [y, x], bins weighted equally."""
    centres_mm, cell_mm = _cell_centres(scenario, sampling.cells)
    pupil_grid = hcipy.CartesianGrid(
        hcipy.RegularCoords([cell_mm * 1e-3] * 2, [sampling.cells] * 2, [centres_mm[0] * 1e-3] * 2)
    )
    sensor_grid = hcipy.CartesianGrid(hcipy.SeparatedCoords((x_um * 1e-6, y_um * 1e-6)), weights=1.0)
    focal_m = scenario["telescope"]["focal_length_mm"] * 1e-3
    propagator = hcipy.FraunhoferPropagator(pupil_grid, sensor_grid, focal_m)
    fields, open_area_mm2 = _mean_fields(scenario, sampling, centres_mm, cell_mm)

    def bin_irradiance(wavelength_m, field):
        image = propagator(hcipy.Wavefront(hcipy.Field(field.ravel(), pupil_grid), wavelength_m))
        amplitude = np.asarray(image.electric_field).reshape(len(y_um), len(x_um))
        cells_per_um = cell_mm * 1e-3 * 1e-6 / (wavelength_m * focal_m)
        amplitude /= np.outer(np.sinc(y_um * cells_per_um), np.sinc(x_um * cells_per_um))
        return np.abs(amplitude) ** 2 / (open_area_mm2 * 1e-6) * 1e-12

    bins = zip(wavelengths_nm(scenario), fields)
    return np.mean([bin_irradiance(wavelength_nm * 1e-9, field) for wavelength_nm, field in bins], axis=0)


def by_prysm(scenario, sampling):
    """Pixel fractions, bins weighted equally; `sampling.subpixels` must be an odd multiple of 3."""
    camera = scenario["camera"]
    centres_mm, cell_mm = _cell_centres(scenario, sampling.cells)
    x_mm, y_mm = np.meshgrid(centres_mm, centres_mm)
    shares = _open_shares(scenario, sampling, x_mm, y_mm, cell_mm)
    path_nm = wavefront_nm(scenario, prysm_noll, x_mm, y_mm)
    step_um = camera["pixel_um"] / sampling.subpixels

    def bin_fractions(wavelength_nm):
        amplitude = prysm.propagation.focus_fixed_sampling(
            shares * np.exp(-2j * np.pi * path_nm / wavelength_nm),
            input_dx=cell_mm,
            prop_dist=scenario["telescope"]["focal_length_mm"],
            wavelength=wavelength_nm * 1e-3,
            output_dx=step_um,
            output_samples=(camera["height_px"] * sampling.subpixels, camera["width_px"] * sampling.subpixels),
            shift=(-step_um / 2, -step_um / 2),
        )
        light = np.abs(amplitude) ** 2 / shares.sum()
        return _extrapolated_pixels(light, camera, sampling.subpixels)

    return np.mean([bin_fractions(wavelength_nm) for wavelength_nm in wavelengths_nm(scenario)], axis=0)


def _extrapolated_pixels(light, camera, subpixels):
    """Midpoint rule on all sub-pixels and on every third one; their h^2 errors are as 1 to 9 and cancel."""
    fine = _sum_blocks(light, camera, subpixels)
    coarse = 9 * _sum_blocks(light[1::3, 1::3], camera, subpixels // 3)
    return (9 * fine - coarse) / 8


def _sum_blocks(light, camera, subpixels):
    blocks = light.reshape(camera["height_px"], subpixels, camera["width_px"], subpixels)
    return blocks.sum(axis=(1, 3))


def _gauss_points(pixels, pixel_um, subpixels):
    """Gauss-Legendre points and weights in every pixel of a row whose middle is at 0."""
    nodes, weights = np.polynomial.legendre.leggauss(subpixels)
    pixel_centres_um = (np.arange(pixels) - (pixels - 1) / 2) * pixel_um
    points_um = (pixel_centres_um[:, None] + nodes * pixel_um / 2).ravel()
    return points_um, np.tile(weights * pixel_um / 2, pixels)


def _cell_centres(scenario, cells):
    cell_mm = scenario["telescope"]["aperture_mm"] * GRID_MARGIN / cells
    return (np.arange(cells) - (cells - 1) / 2) * cell_mm, cell_mm


def _mean_fields(scenario, sampling, centres_mm, cell_mm):
    """Mean of the complex field over each cell, [wavelength, row, column], and the open area of the pupil."""
    outline = outlines.pupil(scenario)
    x_mm, y_mm = np.meshgrid(centres_mm, centres_mm)
    whole, cut = _sort_cells(outline(x_mm, y_mm), cell_mm)
    wavenumbers_per_nm = 2 * np.pi / np.array(wavelengths_nm(scenario))
    fields = np.zeros((len(wavenumbers_per_nm), *x_mm.shape), dtype=complex)

    gauss_mm = cell_mm / np.sqrt(12)
    for shift_x, shift_y in ((-1, -1), (1, -1), (-1, 1), (1, 1)):
        xs, ys = x_mm[whole] + shift_x * gauss_mm, y_mm[whole] + shift_y * gauss_mm
        path_nm = wavefront_nm(scenario, hcipy_noll, xs, ys)
        fields[:, whole] += np.exp(-1j * np.outer(wavenumbers_per_nm, path_nm)) / 4

    points_mm = _lattice(sampling.points) * cell_mm
    means, open_shares = [], []
    for xs, ys in _point_clouds(x_mm[cut], y_mm[cut], points_mm):
        is_open = outline(xs, ys) > 0
        path_nm = wavefront_nm(scenario, hcipy_noll, xs[is_open], ys[is_open])
        values = np.zeros((len(wavenumbers_per_nm), *xs.shape), dtype=complex)
        values[:, is_open] = np.exp(-1j * np.outer(wavenumbers_per_nm, path_nm))
        means.append(values.mean(axis=2))
        open_shares.append(is_open.mean(axis=1))
    fields[:, cut] = np.concatenate(means, axis=1)
    return fields, (whole.sum() + np.concatenate(open_shares).sum()) * cell_mm**2


def _open_shares(scenario, sampling, x_mm, y_mm, cell_mm):
    """Share of each cell's area that is open."""
    outline = outlines.pupil(scenario)
    whole, cut = _sort_cells(outline(x_mm, y_mm), cell_mm)
    shares = whole.astype(float)
    points_mm = _additive_points(sampling.points) * cell_mm
    clouds = _point_clouds(x_mm[cut], y_mm[cut], points_mm)
    shares[cut] = np.concatenate([(outline(xs, ys) > 0).mean(axis=1) for xs, ys in clouds])
    return shares


def _sort_cells(edge_distance_mm, cell_mm):
    half_diagonal_mm = cell_mm / np.sqrt(2)
    return edge_distance_mm > half_diagonal_mm, np.abs(edge_distance_mm) <= half_diagonal_mm


def _point_clouds(centres_x_mm, centres_y_mm, points_mm):
    """(x, y) of the sample points of some cut cells at a time, [cell, point]."""
    for start in range(0, len(centres_x_mm), CUT_CELLS_AT_ONCE):
        some = slice(start, start + CUT_CELLS_AT_ONCE)
        yield centres_x_mm[some, None] + points_mm[:, 0], centres_y_mm[some, None] + points_mm[:, 1]


def _lattice(points):
    """Fibonacci lattice in a unit cell centred on 0: seen along x or along y no two points coincide, so that slots that
    run along the grid get their true width. `points` must be a Fibonacci number."""
    smaller, larger = 1, 1
    while larger < points:
        smaller, larger = larger, smaller + larger
    if larger != points:
        raise ValueError(f"{points} is no Fibonacci number")
    index = np.arange(points)
    return np.stack([(index + 0.5) / points, (index * smaller % points + 0.5) / points], axis=1) - 0.5


def _additive_points(points):
    """Additive recurrence on the plastic number's powers, in a unit cell centred on 0; unrelated to the lattice."""
    plastic = 1.324717957244746
    index = np.arange(points)[:, None]
    return (0.5 + index / np.array([plastic, plastic**2])) % 1 - 0.5
