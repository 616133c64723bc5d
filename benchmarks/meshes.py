"""Areas and outlines of layers against manifold3d, trimesh with shapely, and vtk."""

from __future__ import annotations

import manifold3d
import numpy as np
import trimesh
import vtk
from tests.real_meshes import real_mesh
from vtk.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray

from benchmarks.cases import column, plate
from benchmarks.rounds import Row, medians
from vatwright.geometry.mesh import Mesh, inspect, merge_triangles
from vatwright.geometry.profile import area_profile
from vatwright.geometry.sections import loop_measures, sections_in_chunks


def _vtk_mesh(mesh: Mesh) -> vtk.vtkPolyData:
    points, cells, data = vtk.vtkPoints(), vtk.vtkCellArray(), vtk.vtkPolyData()
    points.SetData(numpy_to_vtk(mesh.vertices_m, deep=True))
    rows = np.column_stack((np.full(len(mesh.faces), 3), mesh.faces)).astype(np.int64)
    cells.SetCells(len(rows), numpy_to_vtkIdTypeArray(rows.ravel(), deep=True))
    data.SetPoints(points)
    data.SetPolys(cells)
    return data


def _vtk_outlines(data: vtk.vtkPolyData, heights: np.ndarray) -> list[int]:
    found = []
    plane = vtk.vtkPlane()
    plane.SetNormal(0, 0, 1)
    cutter, stripper = vtk.vtkPlaneCutter(), vtk.vtkStripper()
    cutter.SetPlane(plane)
    cutter.SetInputData(data)
    stripper.SetInputConnection(cutter.GetOutputPort())
    for z in heights:
        plane.SetOrigin(0, 0, z)
        stripper.Update()
        found.append(stripper.GetOutput().GetNumberOfLines())
    return found


def compare(title: str, corners: np.ndarray, *, layers: int, sampled: int, bars: bool) -> tuple[str, list[Row]]:
    """One table for one mesh; the libraries cut `sampled` layers, the rest is by proportion."""
    mesh = merge_triangles(corners)
    corners = corners.astype(np.float32)
    low, high = mesh.bounds_m[:, 2]
    layer_nm = max(1, int((high - low) * 1e9 / layers))
    grid = {"layer_nm": layer_nm, "bottom_m": float(low), "layers": layers}
    heights = low + (np.linspace(0, layers - 1, sampled).astype(int) + 0.5) * layer_nm / 1e9
    few = heights[:: max(1, sampled // 5)]
    closed = inspect(mesh).closed
    reference, other = trimesh.Trimesh(mesh.vertices_m, mesh.faces, process=False), _vtk_mesh(mesh)

    def outlines() -> None:
        for chunk in sections_in_chunks(mesh, **grid):
            loop_measures(chunk)

    tasks = {
        "merge": lambda: merge_triangles(corners),
        "area": lambda: area_profile(mesh, **grid),
        "outlines": outlines,
        "trimesh_merge": lambda: trimesh.Trimesh(corners.reshape(-1, 3), np.arange(len(corners) * 3).reshape(-1, 3)),
        "trimesh": lambda: [p and p.polygons_full for p in reference.section_multiplane([0, 0, 0], [0, 0, 1], few)],
        "vtk": lambda: _vtk_outlines(other, heights),
    }
    if closed:
        solid = manifold3d.Manifold(manifold3d.Mesh64(mesh.vertices_m, mesh.faces.astype(np.uint64)))
        tasks["manifold_area"] = lambda: [solid.slice(z).area() for z in heights]
        tasks["manifold"] = lambda: [solid.slice(z).to_polygons() for z in heights]
    spent = medians(3, **tasks)
    every = layers / len(heights)
    rows = [Row("join corners", spent["merge"], spent["trimesh_merge"], "trimesh")]
    if closed:
        rows += [
            Row("area of every layer", spent["area"], spent["manifold_area"] * every, "manifold3d", 150.0 * bars),
            Row("outlines, measured", spent["outlines"], spent["manifold"] * every, "manifold3d", 10.0 * bars),
        ]
    trimesh_s = spent["trimesh"] * layers / len(few)
    rows += [
        Row("outlines, measured", spent["outlines"], trimesh_s, "trimesh + shapely", 100.0 * bars),
        Row("outlines, measured", spent["outlines"], spent["vtk"] * every, "vtk plane cutter and stripper"),
    ]
    return f"{title}: {len(corners):,} triangles, {layers:,} layers" + ("" if closed else ", open"), rows


def tables() -> list[tuple[str, list[Row]]]:
    """All of them."""
    real = ("scanned bunny", "bunny", "gearwheel", "ant", "nut")
    return [
        compare("one column", column(1024, 640), layers=6000, sampled=30, bars=True),
        compare("plate of 24, each its own shape", plate(alike=False), layers=997, sampled=20, bars=True),
        *(compare(f"{n} (registry)", real_mesh(n), layers=1000, sampled=50, bars=False) for n in real),
    ]
