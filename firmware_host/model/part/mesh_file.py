"""Reading a closed triangle mesh; the reader is the optional extra `mesh` (trimesh)."""

from __future__ import annotations

import importlib
import io
import math
import re
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from firmware_host.errors import InputError, UnreadableFileError
from firmware_host.system.files import read_regular

if TYPE_CHECKING:
    import trimesh

#: Largest mesh file read, in bytes, by its kind: each holds about as many triangles as are taken.
LARGEST_MESH_FILE = {".stl": 16_000_000, ".obj": 8_000_000, ".ply": 4_000_000}
#: A round part has far fewer, with chords of a hundredth of a millimetre; the reader takes about a kilobyte for each.
MOST_TRIANGLES = 250_000
_FACE = re.compile(rb"^f[ \t]([^\n]*)", re.MULTILINE)


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

    Raises `UnreadableFileError` when the file is missing, larger than `LARGEST_MESH_FILE`, of another kind or no mesh,
    or makes more than `MOST_TRIANGLES`; `InputError` when the surface is not closed, or the extra `mesh` isn't
    installed. Files it refers to aren't read.
    """
    source = str(path)
    if path.suffix.lower() not in LARGEST_MESH_FILE:
        raise UnreadableFileError(
            "is no mesh file by its name", f"Name a file in {', '.join(LARGEST_MESH_FILE)}", source
        )
    try:
        stat = path.stat()
    except FileNotFoundError as error:
        raise UnreadableFileError("no such file", "part.file starts at the job file's folder", source) from error
    except (OSError, ValueError) as error:  # ValueError: a zero byte in the path
        problem = f"cannot be read ({getattr(error, 'strerror', None) or error})"
        raise UnreadableFileError(problem, "Check the path and its rights", source) from error
    return _read(path, stat.st_size, stat.st_mtime_ns)


@lru_cache(maxsize=4)
def _read(path: Path, size: int, written_ns: int) -> MeshBody:
    """Read once per version of the file: a plan asks for its part several times."""
    del size, written_ns
    kind = path.suffix.lower()
    data = read_regular(path, LARGEST_MESH_FILE[kind])
    if (count := _triangles(kind, data)) > MOST_TRIANGLES:
        problem = f"has about {count} triangles, more than {MOST_TRIANGLES}"
        raise UnreadableFileError(problem, "Export the part with fewer triangles", str(path))
    surface = _load(path, kind, data)
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


def _triangles(kind: str, data: bytes) -> int:
    """About how many triangles a file makes, at the most: a polygon of many corners makes many."""
    if kind == ".stl":
        return data.count(b"vertex") // 3 if b"facet" in data[:2000] else max(len(data) - 84, 0) // 50
    if kind == ".obj":
        faces = _FACE.finditer(data.replace(b"\\\n", b" "))
        return sum(max(len(face[1].split()) - 2, 0) for face in faces)
    header = data.partition(b"end_header")[0]
    return data.count(b" ") // 4 if b"format ascii" in header else len(data) // 16


def _load(path: Path, kind: str, data: bytes) -> trimesh.Trimesh:
    reader = _reader()
    try:
        surface = reader.load_mesh(io.BytesIO(data), file_type=kind.removeprefix("."), skip_materials=True)
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
