"""Checks of a mesh as it goes to the printer: closed, free of steep overhangs, nowhere too thin.

Knows nothing of how the solid was made. The mesh lies as printed, z up, in mm.
"""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import trimesh

from hardware_notes.case import dimensions as d

Reals = npt.NDArray[np.floating[Any]]

# Two faces bound a wall when they look away from each other within this angle; else they are an edge.
OPPOSITE_COSINE = -0.8
SKIN_MM = 1e-3


@dataclass(frozen=True)
class Thinnest:
    """The thinnest wall found: its thickness, and the place on the surface."""

    wall_mm: float
    at_mm: tuple[float, float, float]


def load(path: Path) -> trimesh.Trimesh:
    """The mesh of an STL file. Raises ValueError when there is none in it."""
    mesh = trimesh.load_mesh(path)
    if not isinstance(mesh, trimesh.Trimesh) or not len(mesh.faces):
        raise ValueError(
            f"{path} holds no mesh: write it again with python -m hardware_notes.case --out FOLDER"
        )
    return mesh


def open_edges(mesh: trimesh.Trimesh) -> int:
    """Edges that do not join exactly two faces: 0 for a closed mesh."""
    _, counts = np.unique(mesh.edges_sorted, axis=0, return_counts=True)
    return int((counts != 2).sum())


def turned_faces(mesh: trimesh.Trimesh) -> int:
    """1 when faces do not all look outwards, else 0."""
    return int(not (mesh.is_winding_consistent and mesh.volume > 0.0))


def pieces(mesh: trimesh.Trimesh) -> int:
    """How many bodies the mesh falls into, hollows counted."""
    return int(mesh.body_count)


def overhang_deg(mesh: trimesh.Trimesh) -> Reals:
    """For each face how far it leans out over nothing: 0 upright or looking up, 90 a flat ceiling; 0 on the bed."""
    steepness = np.degrees(np.arcsin(np.clip(-mesh.face_normals[:, 2], 0.0, 1.0)))
    floor = mesh.bounds[0, 2]
    on_bed = mesh.triangles[:, :, 2].max(axis=1) < floor + d.BED_Z
    result: Reals = np.where(on_bed, 0.0, steepness)
    return result


def steep_mm2(mesh: trimesh.Trimesh) -> float:
    """Area that needs support: faces steeper than the bound and not on the bed."""
    return float(mesh.area_faces[overhang_deg(mesh) > d.OVERHANG_MAX_DEG].sum())


def steepest_deg(mesh: trimesh.Trimesh) -> float:
    """The steepest overhang."""
    return float(overhang_deg(mesh).max())


def _places(mesh: trimesh.Trimesh, count: int, seed: int) -> tuple[Reals, npt.NDArray[np.intp]]:
    """Points on the surface and their faces: every face's middle, and `count` more drawn evenly by area."""
    drawn, faces = trimesh.sample.sample_surface(mesh, count, seed=seed)
    return np.vstack([mesh.triangles_center, drawn]), np.concatenate([np.arange(len(mesh.faces)), faces])


def thinnest_wall(mesh: trimesh.Trimesh, count: int, seed: int) -> Thinnest:
    """The thinnest wall, straight inwards from many places to a face that looks the other way."""
    points, faces = _places(mesh, count, seed)
    inwards = -mesh.face_normals[faces]
    hits, rays, struck = mesh.ray.intersects_location(
        points + SKIN_MM * inwards, inwards, multiple_hits=False
    )
    facing = np.einsum("ij,ij->i", mesh.face_normals[struck], mesh.face_normals[faces[rays]])
    thickness = np.linalg.norm(hits - points[rays], axis=1)
    thickness[facing > OPPOSITE_COSINE] = np.inf
    least = int(np.argmin(thickness))
    x, y, z = points[rays[least]]
    return Thinnest(float(thickness[least]), (float(x), float(y), float(z)))
