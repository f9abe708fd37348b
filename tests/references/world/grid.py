"""The pupil on an even grid of direction cosines, in the axes of the frame.

Cells are even in s = sin u, because the transform runs over s. A cell's place in the pupil, in mm, follows from the focus
law: height = f s for the sine condition, height = 2 f tan(u/2) for a bare paraboloid, whose field carries the square root
of the Jacobian. The axes are the frame's: a cell at q stands for the pupil point R(rotation) Mirror q, so that nothing needs
to be turned in the image.
"""

from functools import lru_cache
import json

import numpy as np

from . import outline
from .wavefront import noll_value

MARGIN = 1.0073  # the grid is this much wider than the beam, so that no edge lies on a row of cell borders
CUT_AT_ONCE = 4000
POINTS_IN_CUT_CELL = 89  # a Fibonacci number
POINTS_BEHIND_MASK = 34


class Pupil:
    """Open shares, places and exact defocus of the cells; Zernike values on demand."""

    def __init__(self, telescope, mask, rotation_deg, mirrored, cells):
        self.focal_mm, self.law = telescope["focal_length_mm"], telescope.get("focus_law", "sine")
        self.radius_mm, self.cells = telescope["aperture_mm"] / 2, cells
        self.step = 2 * self._cosine_of_edge() * MARGIN / cells
        self.axis = (np.arange(cells) - (cells - 1) / 2) * self.step
        s_x, s_y = np.meshgrid(self.axis, self.axis)
        self._turn, self._mirrored = np.radians(rotation_deg), mirrored
        shape = outline.openings(telescope, mask)
        share = self._shares(shape, s_x, s_y, POINTS_BEHIND_MASK if mask else POINTS_IN_CUT_CELL)
        self.open = np.flatnonzero(share)
        s_x, s_y = s_x.ravel()[self.open], s_y.ravel()[self.open]
        cosine = np.sqrt(1 - s_x**2 - s_y**2)
        self.one_minus_cosine = (s_x**2 + s_y**2) / (1 + cosine)
        amplitude = np.ones_like(cosine) if self.law == "sine" else 2 / ((1 + cosine) * np.sqrt(cosine))
        open_share = share.ravel()[self.open]
        self.amplitude = open_share * amplitude
        self.light = float(np.sum(open_share * amplitude**2)) * self.step**2
        self._x_mm, self._y_mm = self._place_mm(s_x, s_y)
        self._modes = {}

    def path_nm(self, offset_um, modes_nm):
        """W of the open cells: exact defocus and the modes."""
        total_nm = offset_um * 1e3 * self.one_minus_cosine
        for noll, rms_nm in sorted(modes_nm.items()):
            if rms_nm:
                total_nm = total_nm + rms_nm * self._mode(int(noll))
        return total_nm

    def field(self, path_nm, wavelength_nm):
        """The pupil field exp(-2 pi i W / lambda) on the whole grid, single precision."""
        field = np.zeros(self.cells**2, dtype=np.complex64)
        turns = path_nm / wavelength_nm
        field[self.open] = self.amplitude * np.exp(-2j * np.pi * (turns - np.round(turns)))
        return field.reshape(self.cells, self.cells)

    def _cosine_of_edge(self):
        if self.law == "sine":
            return self.radius_mm / self.focal_mm
        if self.law == "paraboloid":
            return np.sin(2 * np.arctan(self.radius_mm / (2 * self.focal_mm)))
        raise ValueError(f"focus law {self.law!r} is not described here")

    def _place_mm(self, s_x, s_y):
        """Pupil coordinates (pupil axes) of direction cosines (frame axes)."""
        if self.law == "sine":
            stretch = self.focal_mm
        else:
            cosine = np.sqrt(np.maximum(1 - s_x**2 - s_y**2, 0.0))
            stretch = 2 * self.focal_mm / (1 + cosine)  # 2 f tan(u/2) / sin u
        q_x, q_y = (-s_x if self._mirrored else s_x) * stretch, s_y * stretch
        turn = self._turn
        return q_x * np.cos(turn) - q_y * np.sin(turn), q_x * np.sin(turn) + q_y * np.cos(turn)

    def _shares(self, shape, s_x, s_y, points):
        """Share of each cell's area that is open: exact where no edge passes, else by a lattice."""
        distance = shape(*self._place_mm(s_x, s_y))
        stretch = 1.0 if self.law == "sine" else 1.0 + 2 * self._cosine_of_edge() ** 2
        half_diagonal_mm = self.step * self.focal_mm * stretch / np.sqrt(2)
        share = (distance > half_diagonal_mm).astype(float)
        cut = np.nonzero(np.abs(distance) <= half_diagonal_mm)
        cloud = _lattice(points) * self.step
        found = []
        for start in range(0, len(cut[0]), CUT_AT_ONCE):
            some = (cut[0][start : start + CUT_AT_ONCE], cut[1][start : start + CUT_AT_ONCE])
            xs, ys = s_x[some][:, None] + cloud[:, 0], s_y[some][:, None] + cloud[:, 1]
            found.append((shape(*self._place_mm(xs, ys)) > 0).mean(axis=1))
        if found:
            share[cut] = np.concatenate(found)
        return share

    def _mode(self, noll):
        if noll not in self._modes:
            rho = np.hypot(self._x_mm, self._y_mm) / self.radius_mm
            self._modes[noll] = noll_value(noll, rho, np.arctan2(self._y_mm, self._x_mm))
        return self._modes[noll]


def pupil(telescope, mask, camera, cells):
    """The pupil of a telescope behind its mask, kept from one frame to the next."""
    key = json.dumps([telescope, mask, camera["rotation_deg"], camera["mirrored"]], sort_keys=True)
    return _kept(key, cells)


@lru_cache(maxsize=2)
def _kept(key, cells):
    telescope, mask, rotation_deg, mirrored = json.loads(key)
    return Pupil(telescope, mask, rotation_deg, mirrored, cells)


def _lattice(points):
    """Fibonacci lattice in a unit cell centred on 0: along either axis no two points coincide."""
    smaller, larger = 1, 1
    while larger < points:
        smaller, larger = larger, smaller + larger
    index = np.arange(larger)
    return np.stack([(index + 0.5) / larger, (index * smaller % larger + 0.5) / larger], axis=1) - 0.5
