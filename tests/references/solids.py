"""Other libraries open the masks that the program wrote: solids.py FOLDER.

For every STEM.stl, STEM.3mf and STEM.dxf in FOLDER (a gauge or a piece has no DXF of its own): trimesh must find the mesh watertight, wound consistently and of the
volume that the 3MF has too; lib3mf (the 3MF consortium's reader) must read the package in strict mode without a warning and
find its object manifold and oriented; ezdxf's auditor must find no error and repair nothing, and the area inside the DXF's
plate layer times the thickness must be the mesh's volume where nothing is engraved. Missing files or libraries are failures.
"""

import pathlib
import sys

import ezdxf
import lib3mf
import numpy
import trimesh


def mesh_volume(path):
    mesh = trimesh.load_mesh(path)
    assert mesh.is_watertight, f"{path}: not watertight"
    assert mesh.is_winding_consistent, f"{path}: winding"
    assert mesh.volume > 0, f"{path}: inside out"
    return mesh.volume, mesh.extents


def package_volume(path):
    wrapper = lib3mf.get_wrapper()
    model = wrapper.CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    assert reader.GetWarningCount() == 0, f"{path}: {reader.GetWarningCount()} warnings"
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter, f"{path}: unit"
    objects = model.GetMeshObjects()
    assert objects.MoveNext(), f"{path}: no object"
    mesh = objects.GetCurrentMeshObject()
    assert mesh.IsManifoldAndOriented(), f"{path}: not manifold"
    places = numpy.array([list(v.Coordinates) for v in mesh.GetVertices()])
    corners = numpy.array([list(t.Indices) for t in mesh.GetTriangleIndices()])
    a, b, c = (places[corners[:, i]] for i in range(3))
    return float(numpy.einsum("ij,ij->i", a, numpy.cross(b, c)).sum() / 6)


def drawing_area(path):
    document = ezdxf.readfile(path)
    auditor = document.audit()
    assert not auditor.errors and not auditor.fixes, f"{path}: {auditor.errors} {auditor.fixes}"
    assert document.units == ezdxf.units.MM, f"{path}: unit"
    area, engraved = 0.0, False
    for line in document.modelspace().query("POLYLINE"):
        assert line.is_closed
        engraved |= line.dxf.layer != "PLATE"
        if line.dxf.layer == "PLATE":
            x, y = numpy.array([[p.x, p.y] for p in line.points()]).T
            area += 0.5 * float(numpy.sum(x * numpy.roll(y, -1) - numpy.roll(x, -1) * y))
    return area, engraved


def main(folder):
    files = sorted(pathlib.Path(folder).glob("*.stl"))
    assert files, f"no STL in {folder}"
    for stl in files:
        volume, extents = mesh_volume(stl)
        other = package_volume(stl.with_suffix(".3mf"))
        assert abs(other / volume - 1) < 1e-5, f"{stl}: 3MF holds {other}, STL {volume}"
        if ".gauge" in stl.stem or ".piece-" in stl.stem:
            print(f"{stl.stem}: {volume:.1f} mm3, watertight, 3MF without warnings")
            continue
        area, engraved = drawing_area(stl.with_suffix(".dxf"))
        if not engraved:
            assert abs(area * extents[2] / volume - 1) < 1e-5, f"{stl}: outline x thickness"
        print(f"{stl.stem}: {volume:.1f} mm3, watertight, 3MF without warnings, DXF without repairs")


if __name__ == "__main__":
    main(sys.argv[1])
