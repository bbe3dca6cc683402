"""Makes docs/demo.png from what `elbowroom demo --to glb,json` writes: the solids, the wrong tube in red.

    python docs/make_picture.py

Uses VTK, which comes with the CAD kernel; nothing in the program depends on this script.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import trimesh
import vtk
from vtk.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray

HERE = Path(__file__).resolve().parent
WIDTH, HEIGHT = 1300, 820
STEEL, TEAL, RED = (0.62, 0.66, 0.70), (0.20, 0.52, 0.56), (0.83, 0.20, 0.16)


def polydata(mesh: trimesh.Trimesh) -> vtk.vtkPolyData:
    """A triangle mesh as VTK's own."""
    points = vtk.vtkPoints()
    points.SetData(numpy_to_vtk(np.ascontiguousarray(mesh.vertices), deep=True))
    offsets = np.arange(0, 3 * len(mesh.faces) + 1, 3, dtype=np.int64)
    corners = np.ascontiguousarray(mesh.faces.ravel(), dtype=np.int64)
    polygons = vtk.vtkCellArray()
    polygons.SetData(numpy_to_vtkIdTypeArray(offsets, deep=True), numpy_to_vtkIdTypeArray(corners, deep=True))
    data = vtk.vtkPolyData()
    data.SetPoints(points)
    data.SetPolys(polygons)
    return data


def actor(mesh: trimesh.Trimesh, colour: tuple[float, float, float]) -> vtk.vtkActor:
    """One tube, smooth but for its cut ends."""
    normals = vtk.vtkPolyDataNormals()
    normals.SetInputData(polydata(mesh))
    normals.SetFeatureAngle(40)
    mapper = vtk.vtkPolyDataMapper()
    mapper.SetInputConnection(normals.GetOutputPort())
    mapper.ScalarVisibilityOff()
    shown = vtk.vtkActor()
    shown.SetMapper(mapper)
    look = shown.GetProperty()
    look.SetInterpolationToPBR()
    look.SetColor(*colour)
    look.SetMetallic(0.25)
    look.SetRoughness(0.42)
    return shown


def main() -> None:
    """Run the demo, render its solids, write the picture."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "demo"
        command = [sys.executable, "-m", "converter", "demo", "--out", str(folder), "--to", "glb,json", "--quiet"]
        subprocess.run(command, check=True, cwd=HERE.parent, stdout=subprocess.DEVNULL)
        scene = trimesh.load(folder / "out" / "boathouse.glb")
        document = json.loads((folder / "out" / "boathouse.json").read_text())
    wrong = {finding["tube"] for finding in document["findings"] if finding["severity"] == "error"}

    renderer = vtk.vtkRenderer()
    renderer.SetBackground(1.0, 1.0, 1.0)
    for node in scene.graph.nodes_geometry:
        transform, key = scene.graph[node]
        mesh = scene.geometry[key].copy().apply_transform(transform)
        # glTF stands on y; turn it back so that z is up as in the drawing
        mesh.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0]))
        colour = RED if key in wrong else TEAL if key.startswith("R") else STEEL
        renderer.AddActor(actor(mesh, colour))

    for place, strength in (((-2, -4, 5), 0.9), ((4, -3, 2), 0.5), ((0, 4, 3), 0.35)):
        light = vtk.vtkLight()
        light.SetLightTypeToSceneLight()
        light.SetPosition(*place)
        light.SetFocalPoint(0.7, 0.3, 0)
        light.SetIntensity(2.2 * strength)
        renderer.AddLight(light)
    camera = renderer.GetActiveCamera()
    camera.SetViewUp(0, 0, 1)
    camera.SetFocalPoint(0.75, 0.3, 0.0)
    camera.SetPosition(0.75 + 2.0, -3.4, 1.5)
    camera.SetViewAngle(22)
    renderer.ResetCamera()
    camera.Zoom(1.5)

    window = vtk.vtkRenderWindow()
    window.SetOffScreenRendering(1)
    window.SetMultiSamples(8)
    window.SetSize(WIDTH, HEIGHT)
    window.AddRenderer(renderer)
    occlusion = vtk.vtkSSAOPass()
    occlusion.SetRadius(0.15)
    occlusion.SetBias(0.002)
    occlusion.SetKernelSize(128)
    occlusion.BlurOn()
    occlusion.SetDelegatePass(vtk.vtkRenderStepsPass())
    smooth = vtk.vtkSSAAPass()
    smooth.SetDelegatePass(occlusion)
    renderer.SetPass(smooth)
    window.Render()
    grab = vtk.vtkWindowToImageFilter()
    grab.SetInput(window)
    grab.ReadFrontBufferOff()
    writer = vtk.vtkPNGWriter()
    writer.SetFileName(str(HERE / "demo.png"))
    writer.SetInputConnection(grab.GetOutputPort())
    writer.Write()


if __name__ == "__main__":
    main()
