"""What a unit that sits aside does to a star at a fixed place of the sensor, by optiland and by batoid, from finite steps.

Axes and telescopes are those of `prescriptions.py`. The telescope is pointed anew, so that the star's central ray meets the same place
of the focal plane. Astigmatism (Noll 6) of decentre, tilt and field, all along x, is a quadratic form: each mixed term is what four
displacements leave when both signs of two of them are taken.
"""

import numpy as np

import batoid
import prescriptions
from prescriptions import ARCMIN, _disc, _least_rms, _moved, _paraxial_focus, _surfaces
from wavefront import prysm_noll

WAVELENGTH_M = 0.55e-6
RINGS = 12
DECENTRE_MM, TILT_ARCMIN, FIELD_MM = 0.6, 1.7, 3.1
# the plate stands clear of the secondary's sphere out to the edge of the aperture, as a scenario demands
_CORRECTED = prescriptions.SYSTEMS["corrected"]
SYSTEMS = {**prescriptions.SYSTEMS, "corrected": {**_CORRECTED, "corrector": {**_CORRECTED["corrector"], "gap_mm": 31.0}}}
PIVOTS_MM = {"paraboloid": 0.0, "hyperboloids": 21.0, "corrected": 0.0, "lens": 6.0}
MODES = (6, 8)


def make():
    """The cases, and how far the two libraries are apart at most, relative to each number's own size."""
    cases, apart = [], 0.0
    for name, system in SYSTEMS.items():
        case = {"name": name, "system": system, "pivot_mm": PIVOTS_MM[name]}
        for library, star in (("optiland", _by_optiland), ("batoid", _by_batoid)):
            case[library] = _responses(system, PIVOTS_MM[name], star)
        for key, value in case["batoid"].items():
            apart = max(apart, abs(value - case["optiland"][key]) / max(abs(value), 0.1))
        cases.append(case)
    return cases, {"libraries_apart_relative": float(apart)}


def _responses(system, pivot_mm, star):
    focal_mm = _focal_length(system, star)

    def at(decentre_mm=0.0, tilt_arcmin=0.0, field_mm=0.0, fixed=True):
        place = {"decentre_mm": decentre_mm, "tilt_arcmin": tilt_arcmin, "piston_mm": 0.0, "pivot_mm": pivot_mm}
        angle = 0.0
        for _ in range(12 if fixed else 0):
            miss_mm = field_mm - star(system, {**place, "field_arcmin": angle}, False)["landing_um"] * 1e-3
            angle += miss_mm / focal_mm / ARCMIN
            if abs(miss_mm) < 1e-10:
                break
        return star(system, {**place, "field_arcmin": angle}, True)

    d, t, h = DECENTRE_MM, TILT_ARCMIN, FIELD_MM
    east, west, middle = at(d), at(-d), at()
    anew = [at(sign * d, fixed=False)["landing_um"] for sign in (1, -1)]

    def mixed(four, steps):
        pp, mp, pm, mm = (star["6"] for star in four)
        return (pp - mp - pm + mm) / (4 * steps)

    signs = [(1, 1), (-1, 1), (1, -1), (-1, -1)]
    return {
        "coma_nm_per_mm": (east["8"] - west["8"]) / (2 * d),
        "image_shift_um_per_mm": (anew[0] - anew[1]) / (2 * d),
        "astigmatism_nm_per_mm2": ((east["6"] + west["6"]) / 2 - middle["6"]) / d**2,
        "astigmatism_nm_per_mm_arcmin": mixed([at(a * d, b * t) for a, b in signs], d * t),
        "astigmatism_nm_per_mm_mm": mixed([at(a * d, field_mm=b * h) for a, b in signs], d * h),
    }


def _focal_length(system, star):
    """From where a star 1 arcmin beside the axis lands."""
    still = {"decentre_mm": 0.0, "tilt_arcmin": 0.0, "piston_mm": 0.0, "pivot_mm": 0.0}
    return star(system, {**still, "field_arcmin": 1.0}, False)["landing_um"] * 1e-3 / np.tan(ARCMIN)


def _by_optiland(system, displacement, waves):
    found = prescriptions._star(system, displacement, RINGS if waves else 1)
    return {"landing_um": found["landing_um"], **{str(j): found["modes_nm"][str(j)] for j in MODES}}


def _by_batoid(system, displacement, waves):
    """The same star through batoid's surfaces; batoid works in metres and knows optical paths as times c."""
    rows = _surfaces(system)
    unit = {"paraboloid": "primary", "lens": "lens", "two-mirror": "secondary"}[system["kind"]]
    unit_z = next(row[1] for row in rows if row[0] == unit)
    away = 1.0 if unit == "secondary" else -1.0
    pupil_x, pupil_z = 0.0, rows[0][1] if "corrector" in system else 0.0
    x, y, weights = _disc(RINGS if waves else 1)
    x, y = np.append(x, 0.0), np.append(y, 0.0)
    placed = []
    for index, (name, z, radius, conic, terms, material) in enumerate(rows):
        vertex_x, turn = 0.0, 0.0
        if name == unit:
            vertex_x, z, turn = _moved(z, unit_z, away, displacement)
            pupil_x = vertex_x if index == 0 else pupil_x
        placed.append((vertex_x, z, turn, _batoid_surface(radius, conic, terms), material))
    angle = displacement["field_arcmin"] * ARCMIN
    way = np.array([np.sin(angle), 0.0, np.cos(angle)])
    radius = system["aperture_mm"] / 2
    places = np.stack([pupil_x + radius * x, radius * y, np.full_like(x, pupil_z)], axis=1)
    start_z = min(row[1] for row in rows) - 50.0
    to_start = (start_z - places[:, 2]) / way[2]
    lead = places @ way + to_start
    starts = (places + to_start[:, None] * way) * 1e-3
    ones = np.ones_like(x)
    rays = batoid.RayVector(*starts.T.copy(), *(part * ones for part in way), 0.0, WAVELENGTH_M)
    index_before = 1.0
    for vertex_x, z, turn, surface, material in placed:
        frame = batoid.CoordSys(np.array([vertex_x, 0.0, z]) * 1e-3, batoid.RotY(turn))
        if material == "mirror":
            surface.reflect(rays, frame)
            continue
        index_behind = float(material.n(0.55)) if not isinstance(material, float) else material
        surface.refract(rays, batoid.ConstMedium(index_before), batoid.ConstMedium(index_behind), frame)
        index_before = index_behind
    rays.toCoordSys(batoid.CoordSys())
    ends = rays.r * 1e3
    ways = rays.v / np.linalg.norm(rays.v, axis=1)[:, None]
    landing = ends[-1] + ways[-1] * (_paraxial_focus(system) - ends[-1, 2]) / ways[-1, 2]
    found = {"landing_um": float(landing[0] * 1e3)}
    if waves:
        path = rays.t * 1e3 + lead
        led, _ = _least_rms(ends, ways, path, weights)
        for j in MODES:
            found[str(j)] = float(np.sum(weights * led * prysm_noll(j, x[:-1], y[:-1])) * 1e6)
    return found


def _batoid_surface(radius_mm, conic, terms):
    """Terms are coefficients of r², r⁴, r⁶ … per mm, as optiland counts them."""
    if terms is not None:
        radius_m = 1e9 if np.isinf(radius_mm) else radius_mm * 1e-3
        in_metres = [a * 1e3 ** (2 * k - 1) for k, a in enumerate(terms, start=1)]
        return batoid.Asphere(radius_m, conic, in_metres[1:])
    if np.isinf(radius_mm):
        return batoid.Plane()
    if conic == -1.0:  # a general conic has no answer for rays along the axis of a paraboloid
        return batoid.Paraboloid(radius_mm * 1e-3)
    return batoid.Quadric(radius_mm * 1e-3, conic)
