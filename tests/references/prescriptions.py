"""Stars through displaced mirrors and lenses, traced by optiland; modes and places of the image by least squares.

Nothing is taken from the engine. Axes: starlight along +z, x and y as in the pupil. A tilt raises the unit's edge at +x away
from its base (a secondary towards the primary, a primary or a lens towards the sky) about a pivot behind the vertex. The
edge of a primary or a lens is the aperture, and moves aside with it.
"""

import warnings

import numpy as np
from numba.core.errors import NumbaWarning
from optiland.materials import IdealMaterial
from optiland.optic import Optic

from wavefront import prysm_noll

warnings.simplefilter("ignore", NumbaWarning)  # the compiler's remarks about optiland's loops say nothing about rays

ARCMIN = np.pi / 180 / 60
WAVELENGTH_UM = 0.55
HIGHEST_NOLL = 22
ROUNDING_NM = 1e-6  # differences below this are rounding noise and are written as this
FINE, COARSE = 16, 10  # rings of rays

SYSTEMS = {
    "paraboloid": {"kind": "paraboloid", "aperture_mm": 210.0, "focal_length_mm": 830.0},
    "hyperboloids": {
        "kind": "two-mirror",
        "aperture_mm": 152.0,
        "primary_radius_mm": 910.0,
        "primary_conic": -1.07,
        "secondary_radius_mm": 370.0,
        "secondary_conic": -3.9,
        "spacing_mm": 317.0,
    },
    "corrected": {
        "kind": "two-mirror",
        "aperture_mm": 180.0,
        "primary_radius_mm": 760.0,
        "primary_conic": 0.0,
        "secondary_radius_mm": 219.0,
        "secondary_conic": 0.0,
        "spacing_mm": 293.0,
        "corrector": {"index": 1.52, "thickness_mm": 3.7, "gap_mm": 11.0, "r4_r6_r8_per_m": [0.8, 0.6, 0.4]},
    },
    "lens": {
        "kind": "lens",
        "aperture_mm": 80.0,
        "front_radius_mm": 520.0,
        "back_radius_mm": -1900.0,
        "index": 1.53,
        "thickness_mm": 9.0,
    },
}
DISPLACEMENTS = [
    {"tilt_arcmin": 0.0, "decentre_mm": 0.0, "piston_mm": 0.0, "pivot_mm": 0.0, "field_arcmin": 0.0},
    {"tilt_arcmin": 0.0, "decentre_mm": 0.0, "piston_mm": 0.0, "pivot_mm": 0.0, "field_arcmin": 14.0},
    {"tilt_arcmin": 6.0, "decentre_mm": 0.0, "piston_mm": 0.0, "pivot_mm": 0.0, "field_arcmin": 0.0},
    {"tilt_arcmin": -4.0, "decentre_mm": 0.0, "piston_mm": 0.3, "pivot_mm": 27.0, "field_arcmin": 0.0},
    {"tilt_arcmin": 3.0, "decentre_mm": -0.7, "piston_mm": 0.0, "pivot_mm": 0.0, "field_arcmin": -9.0},
]


def make():
    """The cases, and how far two densities of rays are apart at most."""
    cases, largest = [], {"modes_nm": ROUNDING_NM}
    for system_name, system in SYSTEMS.items():
        for number, displacement in enumerate(DISPLACEMENTS):
            fine, coarse = _star(system, displacement, FINE), _star(system, displacement, COARSE)
            apart = max(abs(fine["modes_nm"][j] - coarse["modes_nm"][j]) for j in fine["modes_nm"])
            largest["modes_nm"] = max(largest["modes_nm"], float(apart))
            cases.append({"name": f"{system_name}, displacement {number}", "system": system, **displacement, **fine})
    return cases, largest


def _surfaces(system):
    """Name, vertex z, radius, conic, aspheric terms and material of each surface; all in mm, before any displacement."""
    if system["kind"] == "paraboloid":
        return [("primary", 0.0, -2 * system["focal_length_mm"], -1.0, None, "mirror")]
    if system["kind"] == "lens":
        glass, atmosphere = IdealMaterial(system["index"]), IdealMaterial(1.0)
        return [
            ("lens", 0.0, system["front_radius_mm"], 0.0, None, glass),
            ("lens", system["thickness_mm"], system["back_radius_mm"], 0.0, None, atmosphere),
        ]
    rows, spacing = [], system["spacing_mm"]
    if "corrector" in system:
        plate = system["corrector"]
        inner = -(spacing + plate["gap_mm"])
        terms = [0.0] + [a * 1e-3 ** (2 * k - 1) for k, a in enumerate(plate["r4_r6_r8_per_m"], start=2)]
        rows.append(("plate", inner - plate["thickness_mm"], np.inf, 0.0, None, IdealMaterial(plate["index"])))
        rows.append(("plate", inner, np.inf, 0.0, terms, IdealMaterial(1.0)))
    rows.append(("primary", 0.0, -system["primary_radius_mm"], system["primary_conic"], None, "mirror"))
    rows.append(("secondary", -spacing, -system["secondary_radius_mm"], system["secondary_conic"], None, "mirror"))
    return rows


def _moved(z, unit_z, away, displacement):
    """Vertex x and z and the turn about +y of a surface of the displaced unit."""
    turn = -away * displacement["tilt_arcmin"] * ARCMIN
    pivot = unit_z - away * displacement["pivot_mm"]
    x = (z - pivot) * np.sin(turn) + displacement["decentre_mm"]
    return x, pivot + (z - pivot) * np.cos(turn) + away * displacement["piston_mm"], turn


def _optic(system, displacement):
    """The displaced telescope, where rays start, and x and z of the middle of the entrance pupil."""
    rows = _surfaces(system)
    unit = {"paraboloid": "primary", "lens": "lens", "two-mirror": "secondary"}[system["kind"]]
    unit_z = next(row[1] for row in rows if row[0] == unit)
    away = 1.0 if unit == "secondary" else -1.0
    optic = Optic()
    optic.surfaces.add(index=0, thickness=np.inf)
    # a plane without effect, so that rays start on one undisplaced surface whatever moves behind it
    pupil = [0.0, rows[0][1] if "corrector" in system else 0.0]
    start_z = min(row[1] for row in rows) - 50.0
    optic.surfaces.add(index=1, radius=np.inf, z=start_z, x=0.0, y=0.0, is_stop=True)
    for index, (name, z, radius, conic, terms, material) in enumerate(rows, start=2):
        x, turn = 0.0, 0.0
        if name == unit:
            x, z, turn = _moved(z, unit_z, away, displacement)
            pupil[0] = x if index == 2 else pupil[0]
        kind = {} if terms is None else {"surface_type": "even_asphere", "coefficients": terms}
        optic.surfaces.add(index=index, radius=radius, conic=conic, z=z, x=x, y=0.0, ry=turn, material=material, **kind)
    optic.surfaces.add(index=len(rows) + 2, z=_paraxial_focus(system), x=0.0, y=0.0)
    optic.set_aperture("EPD", system["aperture_mm"])
    optic.fields.set_type("angle")
    optic.fields.add(y=0, x=0)
    optic.wavelengths.add(WAVELENGTH_UM, is_primary=True)
    return optic, start_z, pupil


def _paraxial_focus(system):
    """Where the aligned telescope brings rays beside the axis together, by the paraxial formulae."""
    if system["kind"] == "paraboloid":
        return -system["focal_length_mm"]
    if system["kind"] == "lens":
        n, front, back = system["index"], system["front_radius_mm"], system["back_radius_mm"]
        slope = -(n - 1) / (n * front)  # of a ray at height 1, in the glass
        height = 1 + slope * system["thickness_mm"]
        return system["thickness_mm"] - height / (n * slope + height * (n - 1) / back)
    to_focus = system["primary_radius_mm"] / 2 - system["spacing_mm"]
    return 1 / (1 / to_focus - 2 / system["secondary_radius_mm"]) - system["spacing_mm"]


def _disc(rings):
    """Gauss points on the unit disc with weights that sum to one."""
    node, weight = np.polynomial.legendre.leggauss(rings)
    angle = 2 * np.pi * (np.arange(4 * rings) + 0.5) / (4 * rings)
    rho = np.sqrt((node + 1) / 2)[:, None]
    return (rho * np.cos(angle)).ravel(), (rho * np.sin(angle)).ravel(), np.repeat(weight / 2 / angle.size, angle.size)


def _star(system, displacement, rings):
    """Modes over the full disc, landing of the central ray, and best focus along z."""
    from optiland.rays import RealRays

    optic, start_z, pupil = _optic(system, displacement)
    x, y, weights = _disc(rings)
    x, y = np.append(x, 0.0), np.append(y, 0.0)
    angle = displacement["field_arcmin"] * ARCMIN
    direction = np.array([np.sin(angle), 0.0, np.cos(angle)])
    radius = system["aperture_mm"] / 2
    places = np.stack([pupil[0] + radius * x, radius * y, np.full_like(x, pupil[1])], axis=1)
    lead = places @ direction  # path from the plane wave through the origin
    to_start = (start_z - places[:, 2]) / direction[2]
    places = places + to_start[:, None] * direction
    ones = np.ones_like(x)
    rays = RealRays(*(places[:, k].copy() for k in range(3)), *(d * ones for d in direction), ones, WAVELENGTH_UM * ones)
    *optics, sensor = optic.surfaces.surfaces[2:]
    for surface in optics:
        surface.trace(rays)
    ends = np.stack([rays.x, rays.y, rays.z], axis=1)
    ways = np.stack([rays.L, rays.M, rays.N], axis=1)
    waves, centre = _least_rms(ends, ways, rays.opd + lead + to_start, weights)
    sensor.trace(rays)
    landing = rays.x[-1]
    modes = {j: float(np.sum(weights * waves * prysm_noll(j, x[:-1], y[:-1])) * 1e6) for j in range(5, HIGHEST_NOLL + 1)}
    return {"modes_nm": {str(j): value for j, value in modes.items()}, "landing_um": float(landing * 1e3), "focus_z_mm": float(centre[2])}


def _least_rms(places, ways, path, weights):
    """How far each wavefront leads the sphere of least rms through the central ray's place, and that sphere's centre."""
    from scipy.optimize import least_squares

    def leads(centre):
        from_centre = places - centre
        along = np.sum(from_centre * ways, axis=1)
        square = np.sum((places[-1] - centre) ** 2)
        root = np.sqrt(along**2 - np.sum(from_centre**2, axis=1) + square)
        near, far = -along - root, -along + root
        total = path + np.where(np.abs(near) < np.abs(far), near, far)
        return total[-1] - total[:-1]

    def residual(centre):
        waves = leads(centre)
        return np.sqrt(weights) * (waves - np.sum(weights * waves)) * 1e6

    normal = np.eye(3)[None] - ways[:-1, :, None] * ways[:-1, None, :]
    start = np.linalg.solve(normal.sum(axis=0), np.einsum("nij,nj->i", normal, places[:-1]))
    found = least_squares(residual, start, jac="3-point", xtol=1e-15, ftol=1e-15, gtol=1e-15, x_scale=1e-3)
    return leads(found.x), found.x
