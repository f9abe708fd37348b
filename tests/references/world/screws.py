"""What the screws truly do: turns to tilt, tilt to coma, astigmatism, image shift and focus; and the hand that turns them.

Positive turns lengthen a screw. The tilt vector points at the edge that was raised. Coma is (Noll 8, Noll 7) in nm, pupil axes.
"""

import numpy as np

ARCMIN = np.pi / 180 / 60


class Mechanics:
    """An assembly as it really is: `assembly` in a scenario's words, its coma response perhaps turned by an angle."""

    def __init__(self, assembly, response_turn_deg=0.0):
        self.assembly = assembly
        self.names = [screw["name"] for screw in assembly["screws"]]
        azimuths = np.radians([screw["azimuth_deg"] for screw in assembly["screws"]])
        radius_mm = assembly["screw_circle_radius_mm"]
        plane = np.column_stack([np.ones(len(azimuths)), radius_mm * np.cos(azimuths), radius_mm * np.sin(azimuths)])
        self._heights_to_plane = np.linalg.pinv(plane)
        self._plane_to_heights = plane
        turn = np.radians(response_turn_deg)
        rotation = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        self.coma_matrix = assembly["response"]["coma_nm_per_arcmin"] * rotation

    def tilt_arcmin(self, turns):
        """(tx, ty) of the plane through the screws' ends."""
        heights_mm = np.array([turns[name] for name in self.names]) * self.assembly["pitch_mm_per_turn"]
        return (self._heights_to_plane @ heights_mm)[1:] / ARCMIN

    def piston_um(self, turns):
        """Height at the middle of the screw circle."""
        heights_mm = np.array([turns[name] for name in self.names]) * self.assembly["pitch_mm_per_turn"]
        return float((self._heights_to_plane @ heights_mm)[0] * 1e3)

    def focus_um(self, turns):
        """How far the piston moves the sensor beyond focus."""
        return self.piston_um(turns) * 1e-3 * self.assembly["response"]["focus_um_per_mm"]

    def coma_nm(self, turns):
        """(Noll 8, Noll 7) of the tilt."""
        return self.coma_matrix @ self.tilt_arcmin(turns)

    def astigmatism_nm(self, turns):
        """(Noll 6, Noll 5) of the tilt, on the axis."""
        tilt = self.tilt_arcmin(turns)
        size = self.assembly["response"]["astigmatism_nm_per_arcmin2"] * (tilt @ tilt)
        twice = 2 * np.arctan2(tilt[1], tilt[0])
        return size * np.array([np.cos(twice), np.sin(twice)])

    def image_shift_um(self, turns):
        """Where the star goes on the sensor, pupil axes."""
        return self.assembly["response"]["image_shift_um_per_arcmin"] * self.tilt_arcmin(turns)

    def turns_for(self, coma_nm):
        """Turns without piston that give this coma."""
        tilt = np.linalg.solve(self.coma_matrix, np.asarray(coma_nm, dtype=float)) * ARCMIN
        heights_mm = self._plane_to_heights @ np.array([0.0, *tilt])
        return {name: float(h) / self.assembly["pitch_mm_per_turn"] for name, h in zip(self.names, heights_mm)}


class Hand:
    """A person at the screws: errs by 10 per cent and 4 degrees, meets backlash, and shifts the unit when locking.

    Each pair has a direction of its own in which tightening shifts the unit; the size is drawn anew, 20 +- 10 nm, each time.
    """

    def __init__(self, mechanics, turns, rng, share=0.10, degrees=4.0, lock_nm=20.0, lock_spread_nm=10.0):
        self.mechanics, self.turns, self._rng = mechanics, dict(turns), rng
        self._share, self._degrees = share, degrees
        self._lock_nm, self._lock_spread_nm = lock_nm, lock_spread_nm
        self.locked_coma_nm = np.zeros(2)
        self._lock_azimuth = {name: rng.uniform(0, 2 * np.pi) for name in mechanics.names}
        self._last_way = {name: rng.choice([-1.0, 1.0]) for name in mechanics.names}

    def turn(self, name, asked_turns):
        """One screw turned by about what was asked, and locked; returns what the screw really did, in turns."""
        if name not in self.turns:
            raise ValueError(f"there is no screw {name!r}, only {', '.join(self.turns)}")
        given = asked_turns * (1 + self._share * self._rng.standard_normal())
        given += self._degrees / 360 * self._rng.standard_normal()
        way, given = np.sign(given), self.given(name, given)
        self._last_way[name] = way
        self.turns[name] += given
        self.lock(name)
        return given

    def given(self, name, turns):
        """What the screw does when the wrench does this: a screw that is turned back loses its backlash."""
        if np.sign(turns) == self._last_way[name]:
            return turns
        return np.sign(turns) * max(abs(turns) - self.mechanics.assembly["backlash_turns"], 0.0)

    def push_nm(self, name):
        """Where tightening a pair pushes the unit on average."""
        azimuth = self._lock_azimuth[name]
        return self._lock_nm * np.array([np.cos(azimuth), np.sin(azimuth)])

    def lock(self, name):
        """Tighten one pair: the unit moves a little, in the pair's own direction."""
        size = max(self._lock_nm + self._lock_spread_nm * self._rng.standard_normal(), 0.0)
        azimuth = self._lock_azimuth[name]
        self.locked_coma_nm += size * np.array([np.cos(azimuth), np.sin(azimuth)])

    def coma_nm(self):
        """(Noll 8, Noll 7) as the telescope now stands."""
        return self.mechanics.coma_nm(self.turns) + self.locked_coma_nm
