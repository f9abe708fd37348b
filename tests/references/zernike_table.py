"""Values of Noll's Zernike polynomials on the disc and on an annulus, by libraries that must agree."""

import galsim
import numpy as np

from wavefront import hcipy_noll, prysm_noll

HIGHEST_NOLL = 36
OBSTRUCTION_RATIO = 81.0 / 190.0
DISC_POINTS = [(0.0, 0.0), (0.17, 203.0), (0.43, 71.0), (0.62, 318.0), (0.79, 129.0), (0.94, 17.0), (1.0, 247.0)]
ANNULUS_POINTS = [(0.43, 71.0), (0.55, 338.0), (0.68, 203.0), (0.79, 129.0), (0.94, 17.0), (1.0, 247.0)]


def make():
    """The table, and how far the routes are apart at most."""
    disc_x, disc_y = _cartesian(DISC_POINTS)
    disc = [_galsim_noll(noll, disc_x, disc_y, 0.0) for noll in _nolls()]
    by_prysm = [prysm_noll(noll, disc_x, disc_y) for noll in _nolls()]
    by_hcipy = [hcipy_noll(noll, disc_x[1:], disc_y[1:]) for noll in _nolls()]  # its recursion is undefined at the centre
    annulus_x, annulus_y = _cartesian(ANNULUS_POINTS)
    annulus = [_galsim_noll(noll, annulus_x, annulus_y, OBSTRUCTION_RATIO) for noll in _nolls()]
    by_orthogonalisation = _orthogonalised(annulus_x, annulus_y)
    table = {
        "noll": list(_nolls()),
        "disc": _section(DISC_POINTS, disc),
        "annulus": {"obstruction_ratio": OBSTRUCTION_RATIO, **_section(ANNULUS_POINTS, annulus)},
    }
    largest_differences = {
        "disc_galsim_prysm": _largest_difference(disc, by_prysm),
        "disc_galsim_hcipy_off_centre": _largest_difference([row[1:] for row in disc], by_hcipy),
        "annulus_galsim_orthogonalised_prysm": _largest_difference(annulus, by_orthogonalisation),
    }
    return table, largest_differences


def _nolls():
    return range(1, HIGHEST_NOLL + 1)


def _section(points, values):
    return {
        "points": [{"rho": rho, "theta_deg": theta_deg} for rho, theta_deg in points],
        "values": [[float(value) for value in row] for row in values],
    }


def _cartesian(points):
    rho, theta = np.array(points).T * np.array([[1.0], [np.pi / 180]])
    return rho * np.cos(theta), rho * np.sin(theta)


def _galsim_noll(noll, x, y, obstruction_ratio):
    coefficients = np.zeros(noll + 1)
    coefficients[noll] = 1.0
    return np.asarray(galsim.zernike.Zernike(coefficients, R_outer=1.0, R_inner=obstruction_ratio)(x, y))


def _orthogonalised(x, y):
    """prysm's disc polynomials, made orthonormal one after the other by an exact quadrature over the annulus."""
    squared_nodes, squared_weights = np.polynomial.legendre.leggauss(24)
    lowest = OBSTRUCTION_RATIO**2
    radius = np.sqrt(lowest + (1 - lowest) * (squared_nodes + 1) / 2)
    angle = 2 * np.pi * (np.arange(48) + 0.5) / 48
    nodes_x, nodes_y = np.outer(radius, np.cos(angle)).ravel(), np.outer(radius, np.sin(angle)).ravel()
    weights = np.outer(squared_weights / 2, np.full(48, 1 / 48)).ravel()
    on_nodes, on_points = [], []
    for noll in _nolls():
        node_values, point_values = prysm_noll(noll, nodes_x, nodes_y), prysm_noll(noll, x, y)
        for earlier_nodes, earlier_points in zip(on_nodes, on_points):
            share = np.sum(weights * node_values * earlier_nodes)
            node_values, point_values = node_values - share * earlier_nodes, point_values - share * earlier_points
        size = np.sqrt(np.sum(weights * node_values**2))
        on_nodes.append(node_values / size)
        on_points.append(point_values / size)
    return on_points


def _largest_difference(these, those):
    """NaN when any value is, which passes no limit."""
    return float(np.max(np.abs(np.array(these) - np.array(those))))
