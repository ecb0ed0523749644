"""Reading a closed triangle mesh; the reader is the optional extra `mesh` (trimesh)."""

from __future__ import annotations

import importlib
import math
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from firmware_host.errors import InputError, UnreadableFileError

if TYPE_CHECKING:
    import trimesh

#: Largest mesh file read, in bytes: about half a million triangles of binary STL, a hundred thousand of text.
LARGEST_MESH_FILE = 32_000_000
_KINDS = (".stl", ".obj", ".ply")


@dataclass(frozen=True, slots=True, eq=False)
class MeshBody:
    """What a mesh encloses, in the file's own unit of length u.

    `volume` u^3; `centre` of mass (3,) in u; `tensor` (3, 3) in u^5: inertia about the centre of mass for density 1;
    `vertices` (n, 3) in u.
    """

    volume: float
    centre: NDArray[np.float64]
    tensor: NDArray[np.float64]
    vertices: NDArray[np.float64]

    def length_along(self, axis: int) -> float:
        """Extent (u) along coordinate axis 0, 1 or 2."""
        return float(np.ptp(self.vertices[:, axis]))

    def radius_about(self, axis: int) -> float:
        """Greatest distance (u) of the surface from coordinate axis 0, 1 or 2."""
        return float(np.linalg.norm(np.delete(self.vertices, axis, axis=1), axis=1).max())

    def offset_from(self, axis: int) -> float:
        """Distance (u) of the centre of mass from coordinate axis 0, 1 or 2."""
        return math.hypot(*np.delete(self.centre, axis).tolist())


def read_mesh(path: Path) -> MeshBody:
    """The body that the mesh in an STL, OBJ or PLY file encloses.

    Raises `UnreadableFileError` when the file is missing, larger than `LARGEST_MESH_FILE`, of another kind or no mesh;
    `InputError` when the surface is not closed, or the extra `mesh` isn't installed. Files it refers to aren't read.
    """
    source = str(path)
    if path.suffix.lower() not in _KINDS:
        raise UnreadableFileError("is no mesh file by its name", f"Name a file in {', '.join(_KINDS)}", source)
    try:
        if not path.is_file():
            problem = "is not a plain file" if path.exists() else "no such file"
            raise UnreadableFileError(problem, "part.file starts at the job file's folder", source)
        stat = path.stat()
    except OSError as error:
        raise UnreadableFileError(
            f"cannot be read ({error.strerror})", "Check the path and its rights", source
        ) from error
    if stat.st_size > LARGEST_MESH_FILE:
        problem = f"has {stat.st_size} bytes, more than {LARGEST_MESH_FILE}"
        raise UnreadableFileError(problem, "Export the part with fewer triangles", source)
    return _read(path, stat.st_size, stat.st_mtime_ns)


@lru_cache(maxsize=4)
def _read(path: Path, size: int, written_ns: int) -> MeshBody:
    """Read once per version of the file: a plan asks for its part several times."""
    del size, written_ns
    surface = _load(path)
    if len(surface.faces) == 0:
        raise UnreadableFileError("holds no triangles", "Export the part as a triangle mesh", str(path))
    if not (surface.is_watertight and surface.is_winding_consistent):
        raise InputError(
            "the mesh is not a closed surface, so its volume is not known",
            "Repair it in the program that made it, or describe the part by its mass and measured inertia",
            source=str(path),
            key="part.file",
        )
    sign = math.copysign(1.0, surface.volume)
    return MeshBody(
        volume=abs(float(surface.volume)),
        centre=np.asarray(surface.center_mass, dtype=np.float64),
        tensor=sign * np.asarray(surface.moment_inertia, dtype=np.float64),
        vertices=np.asarray(surface.vertices, dtype=np.float64),
    )


def _load(path: Path) -> trimesh.Trimesh:
    reader = _reader()
    try:
        with path.open("rb") as file:
            surface = reader.load_mesh(file, file_type=path.suffix.lower().removeprefix("."), skip_materials=True)
    except OSError as error:
        raise UnreadableFileError(
            f"cannot be read ({error.strerror})", "Check the path and its rights", str(path)
        ) from error
    except (ValueError, TypeError, KeyError, IndexError, AttributeError, NotImplementedError) as error:
        raise UnreadableFileError(
            f"is not a mesh of its kind ({type(error).__name__})", "Export it anew", str(path)
        ) from error
    if not hasattr(surface, "faces"):
        raise UnreadableFileError("holds points, no surface", "Export the part as a triangle mesh", str(path))
    return surface  # type: ignore[no-any-return]


def _reader() -> Any:
    """The mesh library, if it is installed."""
    try:
        return importlib.import_module("trimesh")
    except ImportError as error:
        raise InputError(
            "reading a mesh needs the optional extra 'mesh', which is not installed",
            'Install it: pip install "circumstep[mesh]"; or describe the part by its mass and measured inertia',
            key="part.file",
        ) from error
