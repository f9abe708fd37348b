"""What the atmosphere, drift and shake leave of each spatial frequency: transfer functions on the sensor.

`nu_x` and `nu_y` are in cycles per um on the sensor; every function returns 1 at zero.
"""

import numpy as np
from scipy.special import gamma, j0, kv

ARCSEC = np.pi / 180 / 3600
HALF_STRUCTURE = 6.883877182293811 / 2  # of Kolmogorov's long exposure, (24/5 Gamma(6/5))^(5/6), halved
FWHM_OVER_LAMBDA_R0 = 0.9758634  # of the same law


def transfer(sky, focal_mm, pixel_um, wavelength_nm, nu_x, nu_y):
    """Seeing at one wavelength, times drift and shake, which are the same at all.

    `sky`: `fwhm_arcsec` at 500 nm, `law` "kolmogorov" or "moffat" (with `beta`), `drift_px` (x, y) over the exposure,
    `shake`: None, or a dict with `kind` "gaussian" or "lissajous", `px` (size) and `azimuth_deg`.
    """
    fwhm_um = sky["fwhm_arcsec"] * (wavelength_nm / 500.0) ** -0.2 * ARCSEC * focal_mm * 1e3
    nu = np.hypot(nu_x, nu_y)
    if fwhm_um <= 0:
        law = np.ones_like(nu)
    elif sky.get("law", "kolmogorov") == "kolmogorov":
        law = np.exp(-HALF_STRUCTURE * (nu * fwhm_um / FWHM_OVER_LAMBDA_R0) ** (5 / 3))
    else:
        law = moffat(nu, fwhm_um, sky["beta"])
    drift_x, drift_y = np.multiply(sky.get("drift_px", (0.0, 0.0)), pixel_um)
    return law * np.sinc(nu_x * drift_x + nu_y * drift_y) * _shake(sky.get("shake"), pixel_um, nu_x, nu_y)


def moffat(nu, fwhm_um, beta):
    """Transform of Moffat's profile (1 + r^2/a^2)^-beta, by Bessel's K."""
    core_um = fwhm_um / (2 * np.sqrt(2 ** (1 / beta) - 1))
    argument = np.maximum(2 * np.pi * nu * core_um, 1e-9)
    return 2 * (argument / 2) ** (beta - 1) * kv(beta - 1, argument) / gamma(beta - 1)


def _shake(shake, pixel_um, nu_x, nu_y):
    """A line shaken with a normal spread, or a Lissajous figure of two frequencies that never close."""
    if not shake:
        return 1.0
    azimuth, size_um = np.radians(shake["azimuth_deg"]), shake["px"] * pixel_um
    along = nu_x * np.cos(azimuth) + nu_y * np.sin(azimuth)
    across = nu_y * np.cos(azimuth) - nu_x * np.sin(azimuth)
    if shake["kind"] == "gaussian":
        return np.exp(-2 * (np.pi * size_um * along) ** 2)
    return j0(2 * np.pi * size_um * along) * j0(2 * np.pi * size_um * shake.get("ratio", 0.4) * across)
