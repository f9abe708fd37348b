"""Noll's Zernike polynomials by their factorial formula, and nothing else's.

W is positive where the wavefront leads; modes are nm rms over the full clear circle.
"""

from math import factorial

import numpy as np


def order_of(noll):
    """(n, m) of Noll's single number; m is positive for cosines (even numbers) and negative for sines."""
    if noll < 1:
        raise ValueError(f"Noll's numbers begin with 1, not {noll}")
    n = 0
    while (n + 1) * (n + 2) // 2 < noll:
        n += 1
    place = noll - n * (n + 1) // 2  # 1 .. n + 1 within the row
    m = 2 * (place // 2) if n % 2 == 0 else 2 * ((place - 1) // 2) + 1
    return n, (m if noll % 2 == 0 else -m)


def noll_value(noll, rho, theta):
    """One polynomial at points of the unit disc, mean square 1 over the disc."""
    n, m = order_of(noll)
    radial = sum(
        (-1) ** k
        * factorial(n - k)
        / (factorial(k) * factorial((n + abs(m)) // 2 - k) * factorial((n - abs(m)) // 2 - k))
        * rho ** (n - 2 * k)
        for k in range((n - abs(m)) // 2 + 1)
    )
    if m == 0:
        return np.sqrt(n + 1) * radial
    return np.sqrt(2 * (n + 1)) * radial * (np.cos(m * theta) if m > 0 else np.sin(-m * theta))


def coma_w131_nm(noll_8_nm):
    """Seidel's peak coefficient of a coma of Noll 8 alone: W131 = sqrt(72) c8."""
    return np.sqrt(72.0) * noll_8_nm
