"""Drawings of known areas, written by ezdxf: dxf_areas.py [--check] FOLDER.

Each drawing is a plate of 184 mm with a hole of 78 mm and openings of the kinds that drawing programs write: lines and arcs, polylines
with bulges, circles, ellipses, splines (one rational: a full circle of nine control points), in R12, R2000, R2010 and R2018, in millimetres, inches and
centimetres, moved, mirrored and with notes. FOLDER/areas.json holds the openings' areas in mm2 from closed forms (of a free spline: from scipy's
splines, integrated to 1e-12). --check makes everything afresh and compares: areas to 1e-12, drawings entity by entity.
"""

import json
import math
import pathlib
import sys
import tempfile

import ezdxf
import ezdxf.units
import numpy
from scipy.interpolate import BSpline

OUTER, HOLE = 92.0, 39.0


def new(release, unit=ezdxf.units.MM):
    document = ezdxf.new(release)
    document.units = unit
    return document, document.modelspace()


def circles(release):
    document, space = new(release)
    for radius in (OUTER, HOLE):
        space.add_circle((0, 0), radius)
    area = 0.0
    for k in range(7):
        angle = 2 * math.pi * k / 7
        radius = 3.0 + 0.7 * k
        space.add_circle((62 * math.cos(angle), 62 * math.sin(angle)), radius)
        area += math.pi * radius**2
    space.add_text("SKY SIDE").set_placement((10, 88))
    return document, area


def lines_and_arcs(release, unit=ezdxf.units.MM, scale=1.0):
    """Slots with round ends: two lines and two half circles each, drawn in a mixed order and direction."""
    document, space = new(release, unit)
    s = 1 / scale
    for radius in (OUTER, HOLE):
        space.add_circle((0, 0), radius * s)
    area = 0.0
    for k in range(9):
        x, half, r = -24.0 + 6 * k, 12.0 + k, 1.1
        low, high = 64 - half, 64 + half
        space.add_arc((x * s, high * s), r * s, 0, 180)
        space.add_line(((x - r) * s, low * s), ((x - r) * s, high * s))
        space.add_arc((x * s, low * s), r * s, 180, 360)
        space.add_line(((x + r) * s, high * s), ((x + r) * s, low * s))
        area += 2 * r * 2 * half + math.pi * r**2
    return document, area


def bulges(release):
    document, space = new(release)
    for radius in (OUTER, HOLE):
        add(space, release, [(-radius, 0, 1), (radius, 0, 1)])
    area = 0.0
    for k in range(5):
        angle = math.radians(20 + 60 * k)
        bulge = (-0.35, 0.2, 0.6, 1.0, 0.05)[k]
        c, s = math.cos(angle), math.sin(angle)
        corners = [(-4, -7), (4, -7), (4, 7), (-4, 7)]
        placed = [(62 * c + x * c - y * s, 62 * s + x * s + y * c) for x, y in corners]
        add(space, release, [(x, y, bulge if n % 2 == 1 else 0.0) for n, (x, y) in enumerate(placed)])
        # a segment over a chord of 14 mm: r²(θ − sin θ)/2, θ = 4 atan b
        theta = 4 * math.atan(abs(bulge))
        r = 7 / math.sin(theta / 2)
        area += 8 * 14 + math.copysign(2, bulge) * r**2 * (theta - math.sin(theta)) / 2
    return document, area


def add(space, release, points):
    if release == "R12":
        space.add_polyline2d([(x, y, b) for x, y, b in points], format="xyb", close=True)
    else:
        space.add_lwpolyline(points, format="xyb", close=True)


def ellipses(release):
    document, space = new(release)
    for radius in (OUTER, HOLE):
        space.add_circle((0, 0), radius)
    area = 0.0
    for k in range(6):
        angle = math.pi * k / 3 + 0.3
        centre = (64 * math.cos(angle), 64 * math.sin(angle))
        major = ((6 + k) * math.cos(0.7 * k), (6 + k) * math.sin(0.7 * k))
        ratio = 0.4 + 0.09 * k
        if k % 2:
            space.add_ellipse(centre, major, ratio)
        else:
            # two halves that meet
            space.add_ellipse(centre, major, ratio, 0.4, 0.4 + math.pi)
            space.add_ellipse(centre, major, ratio, 0.4 + math.pi, 0.4 + 2 * math.pi)
        area += math.pi * (6 + k) ** 2 * ratio
    return document, area


def splines(release):
    document, space = new(release)
    for radius in (OUTER, HOLE):
        space.add_circle((0, 0), radius)
    # a rational spline that is a circle of 9 mm: nine control points, weights 1 and √2/2
    w = math.sqrt(0.5)
    square = [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1), (1, 0)]
    circle = space.add_rational_spline([(9 * x, 65 + 9 * y, 0) for x, y in square], [1, w, 1, w, 1, w, 1, w, 1], degree=2)
    circle.knots = [0, 0, 0, 1, 1, 2, 2, 3, 3, 4, 4, 4]
    area = 81 * math.pi
    # a free closed cubic: clamped, first and last control point the same
    points = numpy.array([(50, 0), (60, 14), (70, 8), (84, 3), (75, -9), (62, -16), (50, 0)], float)
    knots = numpy.concatenate([[0] * 4, [1, 2, 3], [4] * 4]).astype(float)
    free = space.add_open_spline([(x, y, 0) for x, y in points], degree=3)
    free.knots = list(knots)
    curve = BSpline(knots, points, 3)
    slope = curve.derivative()
    total = 0.0
    nodes, weights = numpy.polynomial.legendre.leggauss(8)
    for a, b in zip(range(4), range(1, 5)):
        t = 0.5 * (b - a) * nodes + 0.5 * (a + b)
        (x, y), (dx, dy) = curve(t).T, slope(t).T
        total += 0.5 * (b - a) * float(weights @ (0.5 * (x * dy - y * dx)))
    return document, area + abs(total)


def mirrored(release):
    """Entities whose normal is −z, as mirroring leaves them: x is turned over; notes, and a circle drawn twice."""
    document, space = new(release)
    for radius in (OUTER, HOLE):
        space.add_circle((0, 0), radius)
    flip = {"extrusion": (0, 0, -1)}
    space.add_circle((-60, 10), 8, dxfattribs=flip)
    space.add_circle((-60, 10), 8, dxfattribs=flip)
    space.add_lwpolyline([(-10, 55, 0.5), (-3, 55, 0), (-3, 75, 0), (-10, 75, 0)], format="xyb", close=True, dxfattribs=flip)
    theta = 4 * math.atan(0.5)
    r = 3.5 / math.sin(theta / 2)
    space.add_point((1, 2))
    space.add_line((0, 0), (10, 10), dxfattribs={"layer": "HELP"})
    document.layers.add("HELP").off()
    return document, 64 * math.pi + 7 * 20 + r**2 * (theta - math.sin(theta)) / 2


def drawings():
    yield "circles-r12", *circles("R12")
    yield "circles-r2018", *circles("R2018")
    yield "lines-arcs-r12", *lines_and_arcs("R12")
    yield "lines-arcs-inches", *lines_and_arcs("R2010", ezdxf.units.IN, 25.4)
    yield "lines-arcs-cm", *lines_and_arcs("R2000", ezdxf.units.CM, 10.0)
    yield "bulges-r12", *bulges("R12")
    yield "bulges-r2000", *bulges("R2000")
    yield "ellipses-r2010", *ellipses("R2010")
    yield "splines-r2013", *splines("R2013")
    yield "mirrored-r2018", *mirrored("R2018")


def make(folder):
    folder.mkdir(parents=True, exist_ok=True)
    areas = {}
    for name, document, area in drawings():
        document.header["$MEASUREMENT"] = 1
        document.saveas(folder / f"{name}.dxf")
        areas[name] = area
    (folder / "areas.json").write_text(json.dumps(areas, indent=1) + "\n")


def entities(path):
    document = ezdxf.readfile(path)
    assert not document.audit().errors
    return document.units, [
        (e.dxftype(), [repr(p) for p in sorted(e.dxfattribs(drop={"handle", "owner"}).items(), key=str)], shape(e))
        for e in document.modelspace()
    ]


def shape(entity):
    kind = entity.dxftype()
    if kind == "LWPOLYLINE":
        return [tuple(map(float, p)) for p in entity.get_points("xyb")]
    if kind == "POLYLINE":
        return [(v.dxf.location.x, v.dxf.location.y, v.dxf.bulge) for v in entity.vertices]
    if kind == "SPLINE":
        return [list(map(float, p)) for p in entity.control_points], list(entity.knots), list(entity.weights)
    return None


def main(folder, check):
    if not check:
        make(folder)
        return
    with tempfile.TemporaryDirectory() as temporary:
        fresh = pathlib.Path(temporary)
        make(fresh)
        kept, now = (json.loads((where / "areas.json").read_text()) for where in (folder, fresh))
        assert kept.keys() == now.keys()
        for name, area in now.items():
            assert abs(kept[name] / area - 1) < 1e-12, name
            assert entities(folder / f"{name}.dxf") == entities(fresh / f"{name}.dxf"), name
        print(f"{len(now)} drawings are those of ezdxf {ezdxf.__version__}")


if __name__ == "__main__":
    main(pathlib.Path(sys.argv[-1]), "--check" in sys.argv)
