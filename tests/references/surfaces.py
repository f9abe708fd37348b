"""Ten invented telescopes as lists of surfaces, one group of each moved, by batoid and by optiland.

A system is written as in a scenario file: light comes along -z, z in mm towards the sky, a radius is positive where its centre lies towards
the sky. The tracers work in axes with z along the starlight (places, radii and heights change their sign), as `prescriptions.py` does.

Where rays enter: a disc of the aperture's diameter in the plane of the first surface's vertex, or of the entrance pupil where the stop is not
the first surface, moved aside so that light along the axis meets the middle of the stop. The sensor is the paraxial focal plane of the
aligned telescope, by itself or carried by the unit; focus is counted from the sphere of least rms of the aligned telescope's axial star.
"""

import functools

import batoid
import numpy as np
from optiland.coordinate_system import CoordinateSystem
from optiland.materials import IdealMaterial, Material
from optiland.optic import Optic
from optiland.rays import RealRays
from prescriptions import ARCMIN, _disc, _least_rms
from scipy.spatial.transform import Rotation
from wavefront import prysm_noll

WAVELENGTH_UM = 0.55
RINGS = 8  # of rays for modes
MAP_RINGS = 5  # of points at which whole wavefronts are written down
TILT_ARCMIN, DECENTRE_MM, PISTON_MM, FIELD_ARCMIN = 1.3, 0.7, 0.6, 9.0
HIGHEST_NOLL = 22


def _surface(name, radius, z, after, group="", conic=0.0, asphere=(), stop=False):
    return {"name": name, "radius_mm": radius, "conic": conic, "even_asphere": list(asphere), "z_mm": z, "after": after, "group": group, "stop": stop}


def _moved(tilt, decentre, along):
    return {"tilt_arcmin": tilt, "decentre_mm": decentre, "piston_mm": along}


SYSTEMS = {
    "prime-focus unit with two lenses": {
        "aperture_mm": 190.0, "unit": "unit", "sensor_group": "unit", "pivot_mm": -40.0,
        "surfaces": [
            _surface("primary", 915.5, 0.0, "mirror", conic=-1.882, stop=True),
            _surface("lens 1, front", 0.0, 370.0, "N-BK7", "unit"),
            _surface("lens 1, back", -235.2, 383.8, "air", "unit"),
            _surface("lens 2, front", 45.26, 389.8, "N-BK7", "unit"),
            _surface("lens 2, back", 34.02, 394.8, "air", "unit"),
        ],
        "moved": _moved([1.7, -1.1], [0.12, 0.21], 0.15), "fields_mm": [[0.0, 0.0], [5.0, -3.0], [-4.0, 6.5]],
    },
    "corrector plate and secondary": {
        "aperture_mm": 200.0, "unit": "secondary", "sensor_group": "", "pivot_mm": 15.0,
        "surfaces": [
            _surface("plate, front", 0.0, 360.0, "N-BK7", stop=True),
            _surface("plate, back", 0.0, 355.0, "air", asphere=[-5.84e-10, -2.97e-16]),
            _surface("primary", 880.0, 0.0, "mirror"),
            _surface("secondary", 256.44, 340.0, "mirror", "secondary", conic=-0.852),
        ],
        "moved": _moved([-2.2, 1.4], [0.3, -0.2], -0.4), "fields_mm": [[0.0, 0.0], [6.0, 4.0], [-3.0, -9.0]],
    },
    "meniscus and secondary": {
        "aperture_mm": 150.0, "unit": "meniscus", "sensor_group": "", "pivot_mm": 20.0,
        "surfaces": [
            _surface("meniscus, front", 194.26, 330.0, "N-BK7", "meniscus", stop=True),
            _surface("meniscus, back", 201.30, 318.0, "air", "meniscus"),
            _surface("primary", 871.41, 0.0, "mirror"),
            _surface("secondary", 375.36, 300.0, "mirror"),
        ],
        "moved": _moved([2.5, 1.2], [-0.25, 0.4], 0.3), "fields_mm": [[0.0, 0.0], [-5.0, 3.0], [4.0, 7.0]],
    },
    "doublet": {
        "aperture_mm": 90.0, "unit": "cell", "sensor_group": "", "pivot_mm": 25.0,
        "surfaces": [
            _surface("crown, front", -623.57, 0.0, "N-BK7", "cell", stop=True),
            _surface("crown, back", 187.54, -12.0, "F2", "cell"),
            _surface("flint, back", 471.44, -19.0, "air", "cell"),
        ],
        "moved": _moved([6.0, 4.0], [0.5, -0.3], 0.5), "fields_mm": [[0.0, 0.0], [3.0, 2.0], [-4.0, 4.0]],
    },
    "hyperboloids with the sensor on the primary's cell": {
        "aperture_mm": 203.0, "unit": "primary cell", "sensor_group": "primary cell", "pivot_mm": 30.0,
        "surfaces": [
            _surface("primary", 1210.0, 0.0, "mirror", "primary cell", conic=-1.16, stop=True),
            _surface("secondary", 655.0, 396.0, "mirror", conic=-6.5),
        ],
        "moved": _moved([0.9, 0.7], [0.2, 0.35], 0.25), "fields_mm": [[0.0, 0.0], [6.0, -5.0], [2.0, 8.0]],
    },
    "paraboloid with filter and cover glass": {
        "aperture_mm": 210.0, "unit": "camera", "sensor_group": "camera", "pivot_mm": -30.0,
        "surfaces": [
            _surface("primary", 1260.0, 0.0, "mirror", conic=-1.0, stop=True),
            _surface("filter, front", 0.0, 585.0, {"index": 1.52}, "camera"),
            _surface("filter, back", 0.0, 588.0, "air", "camera"),
            _surface("cover glass, front", 0.0, 615.0, "fused-silica", "camera"),
            _surface("cover glass, back", 0.0, 617.0, "air", "camera"),
        ],
        "moved": _moved([9.0, -5.0], [0.4, 0.3], 0.5), "fields_mm": [[0.0, 0.0], [4.0, 4.0], [-6.0, 1.0]],
    },
    "aspheric plastic lens": {
        "aperture_mm": 60.0, "unit": "lens", "sensor_group": "", "pivot_mm": 0.0,
        "surfaces": [
            _surface("lens, front", -150.0, 0.0, "PMMA", "lens", conic=-0.55, asphere=[2.0e-9, -4.0e-13], stop=True),
            _surface("lens, back", 2400.0, -9.0, "air", "lens"),
        ],
        "moved": _moved([7.0, 5.0], [0.4, 0.6], -0.3), "fields_mm": [[0.0, 0.0], [2.5, 1.0], [-2.0, 3.0]],
    },
    "aspheric primary with the sensor alone on the screws": {
        "aperture_mm": 180.0, "unit": "camera", "sensor_group": "camera", "pivot_mm": -20.0,
        "surfaces": [_surface("primary", 1080.0, 0.0, "mirror", conic=-0.9, asphere=[-9.5e-12, 2.0e-17], stop=True)],
        "moved": _moved([11.0, 6.0], [-0.3, 0.5], 0.2), "fields_mm": [[0.0, 0.0], [3.0, 5.0], [-6.0, 2.0]],
    },
    "corrector plate at the centre of curvature, field lens": {
        "aperture_mm": 120.0, "unit": "camera", "sensor_group": "camera", "pivot_mm": -25.0,
        "surfaces": [
            _surface("plate, front", 0.0, 604.0, {"index": 1.49}, stop=True),
            _surface("plate, back", 0.0, 600.0, "air", asphere=[-2.4e-9, -4.0e-15]),
            _surface("primary", 600.0, 0.0, "mirror"),
            _surface("field lens, front", 105.0, 290.0, "N-K5", "camera"),
            _surface("field lens, back", 0.0, 293.0, "air", "camera"),
        ],
        "moved": _moved([3.0, -2.0], [0.2, 0.2], 0.1), "fields_mm": [[0.0, 0.0], [4.0, 3.0], [-3.0, 6.0]],
    },
    "two lenses with the stop between them": {
        "aperture_mm": 50.0, "unit": "rear lens", "sensor_group": "", "pivot_mm": 5.0,
        "surfaces": [
            _surface("front lens, front", -310.0, 0.0, "N-SK16", "front lens"),
            _surface("front lens, back", 2100.0, -8.0, "air", "front lens"),
            _surface("stop", 0.0, -30.0, "air", stop=True),
            _surface("rear lens, front", -240.0, -60.0, "N-FK5", "rear lens"),
            _surface("rear lens, back", 900.0, -68.0, "air", "rear lens"),
        ],
        "moved": _moved([8.0, 3.0], [0.3, -0.5], 0.4), "fields_mm": [[0.0, 0.0], [3.0, -2.0], [-1.0, 5.0]],
    },
}


def make():
    """The cases, and how far the two libraries are apart at most: responses relative to their own size, maps in nm."""
    cases, apart, maps = [], 0.0, 0.0
    for name, system in SYSTEMS.items():
        case = {"name": name, "system": {key: value for key, value in system.items()}}
        stars = {}
        for library, tracer in (("batoid", _by_batoid), ("optiland", _by_optiland)):
            telescope = Telescope(system, tracer)
            case[library] = _responses(telescope)
            stars[library] = _moved_stars(telescope)
        for key, value in case["batoid"].items():
            apart = max(apart, abs(value - case["optiland"][key]) / max(abs(value), 0.1))
        for one, other in zip(stars["batoid"], stars["optiland"]):
            maps = max(maps, float(np.max(np.abs(np.array(one["wave_nm"]) - np.array(other["wave_nm"])))))
        case["moved_stars"] = stars["batoid"]
        cases.append(case)
    return cases, {"libraries_apart_relative": float(apart), "libraries_apart_nm": maps}


class Telescope:
    """A system and one of the two tracers: stars by the direction of their light or by their place on the sensor."""

    def __init__(self, system, tracer):
        self.system, self.tracer = system, tracer
        rows = [dict(row) for row in system["surfaces"]]
        self.rows = [
            {
                **row,
                "z": -row["z_mm"],
                "radius": -row["radius_mm"] if row["radius_mm"] else np.inf,
                "terms": [-a for a in row["even_asphere"]],
            }
            for row in rows
        ]
        mirrors = sum(row["after"] == "mirror" for row in rows)
        self.onward = -1.0 if mirrors % 2 else 1.0
        self.stop = next(k for k, row in enumerate(rows) if row["stop"])
        self.away = self._away()
        self.pupil_z = self._pupil_z()
        self.focal_mm, self.focus_z = self._paraxial()
        held = [row["z"] for row in self.rows if row["group"] == system["unit"]]
        self.pivot_z = (held[0] if held else self.focus_z) - self.away * system["pivot_mm"]
        self.best = 0.0
        self.best = self.star({}, (0.0, 0.0))["beyond_mm"]

    def _away(self):
        """The unit goes where its first surface faces, if that is a mirror; else towards the sky."""
        along = 1.0
        for row in self.rows:
            if row["group"] == self.system["unit"]:
                return -along if row["after"] == "mirror" else -1.0
            along = -along if row["after"] == "mirror" else along
        return -1.0

    def _frame(self, z, motion):
        """Vertex and rotation of a plane that stood at z, carried along by the unit."""
        tilt = np.array(motion.get("tilt_arcmin", [0.0, 0.0])) * ARCMIN
        turn = -self.away * np.array([-tilt[1], tilt[0], 0.0])  # carries +z towards -away * tilt
        rotation = Rotation.from_rotvec(turn)
        pivot = np.array([0.0, 0.0, self.pivot_z])
        vertex = pivot + rotation.apply(np.array([0.0, 0.0, z - self.pivot_z]))
        dx, dy = motion.get("decentre_mm", [0.0, 0.0])
        return vertex + np.array([dx, dy, self.away * motion.get("piston_mm", 0.0)]), rotation

    def _placed(self, motion):
        still = Rotation.identity()
        for row in self.rows:
            moves = motion and row["group"] == self.system["unit"]
            vertex, rotation = self._frame(row["z"], motion) if moves else (np.array([0.0, 0.0, row["z"]]), still)
            yield row, vertex, rotation

    def _rays(self, placed, pupil, sines, x, y):
        """Ends, directions and optical paths of rays from a plane wave through the origin."""
        way = np.array([*sines, np.sqrt(1 - sines[0] ** 2 - sines[1] ** 2)])
        radius = self.system["aperture_mm"] / 2
        places = np.stack([pupil[0] + radius * x, pupil[1] + radius * y, np.full_like(x, self.pupil_z)], axis=1)
        start_z = min(row["z"] for row in self.rows) - 80.0
        to_start = (start_z - places[:, 2]) / way[2]
        lead = places @ way + to_start
        ends, ways, path = self.tracer(placed, places + to_start[:, None] * way, way)
        return ends, ways, path + lead

    def _on_stop(self, motion, pupil, sines):
        """Where the central ray meets the stop, seen from the stop's own middle."""
        placed = list(self._placed(motion))[: self.stop + 1]
        ends, _, _ = self._rays(placed, pupil, sines, np.zeros(1), np.zeros(1))
        _, vertex, rotation = placed[-1]
        return rotation.inv().apply(ends[0] - vertex)[:2]

    def _pupil_z(self):
        first = self.rows[0]["z"]
        self.pupil_z = first
        if self.stop == 0:
            return first
        step = 1e-3
        per_height = self._on_stop({}, (step, 0.0), (0.0, 0.0))[0] / step
        per_sine = self._on_stop({}, (0.0, 0.0), (1e-5, 0.0))[0] / 1e-5
        return first + per_sine / per_height

    def _pupil(self, motion):
        vertices = [vertex for _, vertex, _ in self._placed(motion)]
        if self.stop == 0:
            return vertices[0][:2]
        per_height = self._on_stop({}, (0.2, 0.0), (0.0, 0.0))[0] / 0.2
        place = np.zeros(2)
        for _ in range(8):
            place = place - self._on_stop(motion, place, (0.0, 0.0)) / per_height
        return place

    def _paraxial(self):
        """Focal length and focal plane: two rays 0.5 and 1 mm off the axis, extrapolated to it. Spherical aberration
        goes as the height squared and drops out; a ray much nearer would cross the axis where rounding puts it (at 1 um, by 1e-7 mm)."""
        heights = np.array([0.5, 1.0])
        ends, ways, _ = self._rays(list(self._placed({})), (0.0, 0.0), (0.0, 0.0), 2 * heights / self.system["aperture_mm"], np.zeros(2))
        slopes = ways[:, 0] / ways[:, 2]
        to_axis = lambda near, far: (4 * near - far) / 3
        return to_axis(*(-heights / (slopes * self.onward))), to_axis(*(ends[:, 2] - ends[:, 0] / slopes))

    def _on_sensor(self, motion, place, way=None):
        """A place, or where a ray meets the sensor, in the sensor's own axes."""
        carried = motion and self.system["sensor_group"] == self.system["unit"]
        still = (np.array([0.0, 0.0, self.focus_z]), Rotation.identity())
        vertex, rotation = self._frame(self.focus_z, motion) if carried else still
        local = rotation.inv().apply(place - vertex)
        if way is None:
            return local
        along = rotation.inv().apply(way)
        return (local - local[2] / along[2] * along)[:2]

    def landing(self, motion, sines):
        """Where the central ray meets the sensor."""
        zero = np.zeros(1)
        ends, ways, _ = self._rays(list(self._placed(motion)), self._pupil(motion), sines, zero, zero)
        return self._on_sensor(motion, ends[0], ways[0])

    def star(self, motion, sines, points=None):
        """Modes, landing and focus of a star; with points of the pupil also W there, tilt and focus taken out."""
        x, y, weights = _disc(RINGS)
        px, py = (np.array([]), np.array([])) if points is None else points
        count = x.size
        every = [np.concatenate([x, px, [0.0]]), np.concatenate([y, py, [0.0]])]
        ends, ways, path = self._rays(list(self._placed(motion)), self._pupil(motion), sines, *every)
        disc = np.r_[0:count, ends.shape[0] - 1]
        waves, centre = _least_rms(ends[disc], ways[disc], path[disc], weights)
        modes = {j: float(np.sum(weights * waves * prysm_noll(j, x, y)) * 1e6) for j in range(5, HIGHEST_NOLL + 1)}
        found = {
            "modes_nm": modes,
            "landing_mm": self._on_sensor(motion, ends[-1], ways[-1]),
            "beyond_mm": self.onward * self._on_sensor(motion, centre)[2] - self.best,
        }
        if points is not None:
            from_centre = ends - centre
            along = np.sum(from_centre * ways, axis=1)
            square = np.sum((ends[-1] - centre) ** 2)
            root = np.sqrt(along**2 - np.sum(from_centre**2, axis=1) + square)
            near, far = -along - root, -along + root
            total = path + np.where(np.abs(near) < np.abs(far), near, far)
            found["wave_nm"] = (total[-1] - total)[count:-1] * 1e6
        return found

    def star_at(self, motion, place_mm, points=None):
        """The star whose central ray lands at a place of the sensor, the telescope pointed anew."""
        sines = np.zeros(2)
        for _ in range(25):
            miss = np.array(place_mm) - self.landing(motion, sines)
            sines = sines + miss / self.focal_mm
            if np.hypot(*miss) < 1e-11 * self.focal_mm:
                break
        return self.star(motion, sines, points)


def _responses(telescope):
    """What an owner sees at a fixed place of the sensor, from finite steps along x."""
    tilt = lambda sign: {"tilt_arcmin": [sign * TILT_ARCMIN, 0.0]}
    aside = lambda sign: {"decentre_mm": [sign * DECENTRE_MM, 0.0]}
    lift = lambda sign: {"piston_mm": sign * PISTON_MM}
    place = FIELD_ARCMIN * ARCMIN * telescope.focal_mm
    at = lambda motion, where=0.0: telescope.star_at(motion, (where, 0.0))
    still = at({})
    odd = lambda pair, step, noll: (pair[0]["modes_nm"][noll] - pair[1]["modes_nm"][noll]) / (2 * step)
    even = lambda pair, step, noll: ((pair[0]["modes_nm"][noll] + pair[1]["modes_nm"][noll]) / 2 - still["modes_nm"][noll]) / step**2
    focus = lambda pair, step: 1e3 * ((pair[0]["beyond_mm"] + pair[1]["beyond_mm"]) / 2 - still["beyond_mm"]) / step**2
    shift = lambda kind, step: 1e3 * (telescope.landing(kind(1), (0.0, 0.0)) - telescope.landing(kind(-1), (0.0, 0.0)))[0] / (2 * step)
    tilted, moved, fields = ([f(1), f(-1)] for f in (lambda s: at(tilt(s)), lambda s: at(aside(s)), lambda s: at({}, s * place)))
    lifted = [at(lift(1)), at(lift(-1))]
    return {
        "coma_nm_per_arcmin": odd(tilted, TILT_ARCMIN, 8),
        "decentre_coma_nm_per_mm": odd(moved, DECENTRE_MM, 8),
        "field_coma_nm_per_mm": odd(fields, place, 8),
        "secondary_coma_nm_per_arcmin": odd(tilted, TILT_ARCMIN, 16),
        "astigmatism_nm_per_arcmin2": even(tilted, TILT_ARCMIN, 6),
        "decentre_astigmatism_nm_per_mm2": even(moved, DECENTRE_MM, 6),
        "field_astigmatism_nm_per_mm2": even(fields, place, 6),
        "field_curvature_um_per_mm2": -focus(fields, place),
        "image_shift_um_per_arcmin": shift(tilt, TILT_ARCMIN),
        "decentre_image_shift_um_per_mm": shift(aside, DECENTRE_MM),
        "focus_um_per_mm": -1e3 * (lifted[0]["beyond_mm"] - lifted[1]["beyond_mm"]) / (2 * PISTON_MM),
        "spherical_nm": still["modes_nm"][11],
        "focal_length_mm": float(telescope.focal_mm),
    }


def _moved_stars(telescope):
    """Whole wavefronts with the unit tilted, aside and moved along at once, at three places of the sensor."""
    x, y, _ = _disc(MAP_RINGS)
    stars = []
    for place in telescope.system["fields_mm"]:
        star = telescope.star_at(telescope.system["moved"], place, (x, y))
        stars.append({
            "field_mm": place,
            "beyond_um": float(star["beyond_mm"] * 1e3),
            "x": [round(float(v), 12) for v in x],
            "y": [round(float(v), 12) for v in y],
            "wave_nm": [round(float(v), 6) for v in star["wave_nm"]],
        })
    return stars


@functools.cache
def _index(word):
    """The index behind a surface, by optiland's copy of the catalogues."""
    if word == "air":
        return 1.0
    place = {"fused-silica": ("SiO2", "Malitson"), "PMMA": ("PMMA", "Sultanova")}.get(word, (word, "schott"))
    return float(np.ravel(Material(place[0], reference=place[1]).n(WAVELENGTH_UM))[0])


def _index_of(after):
    return float(after["index"]) if isinstance(after, dict) else _index(after)


def _by_batoid(placed, starts, way):
    """Through batoid's surfaces, which work in metres and know optical paths as times c."""
    ones = np.ones(len(starts))
    rays = batoid.RayVector(*(starts * 1e-3).T.copy(), *(part * ones for part in way), 0.0, WAVELENGTH_UM * 1e-6)
    before = 1.0
    for row, vertex, rotation in placed:
        frame = batoid.CoordSys(vertex * 1e-3, rotation.as_matrix())
        surface = _batoid_surface(row)
        if row["after"] == "mirror":
            surface.reflect(rays, frame)
            continue
        behind = _index_of(row["after"])
        surface.refract(rays, batoid.ConstMedium(before), batoid.ConstMedium(behind), frame)
        before = behind
    rays.toCoordSys(batoid.CoordSys())
    return rays.r * 1e3, rays.v / np.linalg.norm(rays.v, axis=1)[:, None], rays.t * 1e3


def _batoid_surface(row):
    radius = row["radius"] * 1e-3
    if row["terms"]:
        return batoid.Asphere(1e9 if np.isinf(radius) else radius, row["conic"], [a * 1e3 ** (2 * k - 1) for k, a in enumerate(row["terms"], start=2)])
    if np.isinf(radius):
        return batoid.Plane()
    if row["conic"] == -1.0:  # a general conic has no answer for rays along the axis of a paraboloid
        return batoid.Paraboloid(radius)
    return batoid.Quadric(radius, row["conic"])


def _by_optiland(placed, starts, way):
    """Through optiland's surfaces, in mm; its angles turn about x, then y, then z of the telescope."""
    optic = Optic()
    optic.surfaces.add(index=0, thickness=np.inf)
    optic.surfaces.add(index=1, radius=np.inf, z=float(starts[0, 2]), x=0.0, y=0.0, is_stop=True)
    for index, (row, vertex, rotation) in enumerate(placed, start=2):
        rx, ry, rz = rotation.as_euler("xyz")
        kind = {"surface_type": "even_asphere", "coefficients": [0.0, *row["terms"]]} if row["terms"] else {}
        material = "mirror" if row["after"] == "mirror" else IdealMaterial(_index_of(row["after"]))
        optic.surfaces.add(
            index=index, radius=row["radius"], conic=row["conic"], x=float(vertex[0]), y=float(vertex[1]), z=float(vertex[2]),
            rx=float(rx), ry=float(ry), material=material, **kind,
        )
        surface = optic.surfaces.surfaces[index]
        surface.geometry.cs = CoordinateSystem(*(float(v) for v in vertex), float(rx), float(ry), float(rz))
        if row["terms"]:
            surface.geometry.tol = 1e-14  # its own 1e-10 mm are a tenth of a nanometre
    optic.surfaces.add(index=len(placed) + 2, z=0.0, x=0.0, y=0.0)
    optic.set_aperture("EPD", 1.0)
    optic.fields.set_type("angle")
    optic.fields.add(y=0, x=0)
    optic.wavelengths.add(WAVELENGTH_UM, is_primary=True)
    ones = np.ones(len(starts))
    rays = RealRays(*starts.T.copy(), *(part * ones for part in way), ones, WAVELENGTH_UM * ones)
    for surface in optic.surfaces.surfaces[2:-1]:
        surface.trace(rays)
    ends = np.stack([rays.x, rays.y, rays.z], axis=1)
    ways = np.stack([rays.L, rays.M, rays.N], axis=1)
    return ends, ways, np.array(rays.opd)
