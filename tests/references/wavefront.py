"""W of a scene in nm: exact defocus plus Zernike modes, the latter evaluated by one of two libraries.

W is positive where the wavefront leads (the optical path is shorter); the pupil field is exp(-2 pi i W / lambda). Modes
are in Noll's order and normalisation over the full clear circle of the aperture, nm rms.
"""

import hcipy
import numpy as np
import prysm.polynomials


def hcipy_noll(noll, x, y):
    """One Zernike polynomial at points of the unit disc, by hcipy (which wants the diameter, 2)."""
    points = hcipy.CartesianGrid(hcipy.UnstructuredCoords((np.ravel(x), np.ravel(y))))
    return np.asarray(hcipy.zernike_noll(noll, 2, points, radial_cutoff=False)).reshape(np.shape(x))


def prysm_noll(noll, x, y):
    """One Zernike polynomial at points of the unit disc, by prysm."""
    n, m = prysm.polynomials.noll_to_nm(noll)
    return prysm.polynomials.zernike_nm(n, m, np.hypot(x, y), np.arctan2(y, x), norm=True)


def wavefront_nm(scenario, noll_value, x_mm, y_mm):
    """W at points of the pupil; `noll_value` is one of the two functions above."""
    radius_mm = scenario["telescope"]["aperture_mm"] / 2
    total_nm = _exact_defocus_nm(scenario, x_mm, y_mm)
    for noll, rms_nm in scenario["state"]["modes_nm"].items():
        total_nm += rms_nm * noll_value(int(noll), x_mm / radius_mm, y_mm / radius_mm)
    return total_nm


def _exact_defocus_nm(scenario, x_mm, y_mm):
    """Sensor offset times (1 - cos u), with sin u = height / focal length (the sine condition)."""
    if scenario["telescope"]["focus_law"] != "sine":
        raise ValueError("only the sine condition is described here")
    sine_squared = (x_mm**2 + y_mm**2) / scenario["telescope"]["focal_length_mm"] ** 2
    one_minus_cosine = sine_squared / (1 + np.sqrt(1 - sine_squared))
    return scenario["state"]["sensor_offset_um"] * 1e3 * one_minus_cosine
