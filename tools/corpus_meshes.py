"""Finds the meshes of the corpus: what packages carry, whatever they are packed in.

A mesh is known by its package, the first digits of the SHA-256 of its bytes and its format,
never by the name of its file. The same bytes in two packages are one mesh.
"""

from __future__ import annotations

import hashlib
import subprocess
import sys
import tarfile
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
FOLDER = ROOT / "build" / "test-meshes"
FORMATS = ("stl", "obj", "ply", "off", "glb", "3mf")
ID_DIGITS = 8
MAX_BYTES = 1 << 28

DEBIAN = {"libcgal-dev": "libcgal-demo", "assimp": "assimp-testmodels"}
"""The package of a Debian archive by a folder that it unpacks to."""

REGISTRY = ("meshcat==0.3.2", "pyvista==0.49.1", "pybullet==3.2.7")
"""Wheels of general-purpose libraries that carry meshes, fetched into the folder ``registry``
and not installed. What differs between platforms in them is no mesh."""

PARTLY = {"pybullet": "0"}
"""Packages of which only meshes count whose id begins so: over a thousand much alike."""


@dataclass(frozen=True)
class CorpusMesh:
    """One mesh file of the corpus.

    Args:
        source: the package that carries it.
        id: the first digits of the SHA-256 of its bytes.
        format: its suffix in small letters.
        path: the file, or the archive that holds it.
        member: its name in the archive; None where ``path`` is the mesh itself.
    """

    source: str
    id: str
    format: str
    path: Path
    member: str | None = None

    def content(self) -> bytes:
        """The bytes of the mesh file."""
        if self.member is None:
            return self.path.read_bytes()
        if self.path.suffix in (".whl", ".zip"):
            with zipfile.ZipFile(self.path) as packed:
                return packed.read(self.member)
        with tarfile.open(self.path) as packed:
            held = packed.extractfile(self.member)
            assert held is not None
            return held.read()


def corpus_meshes(folder: Path = FOLDER) -> list[CorpusMesh]:
    """Every mesh below a folder and in the archives there, each once, by source and id."""
    found: dict[str, CorpusMesh] = {}
    for path in sorted(p for p in folder.rglob("*") if p.is_file()):
        for member, data in _meshes_in(path):
            name = hashlib.sha256(data).hexdigest()[:ID_DIGITS]
            suffix = Path(member or path.name).suffix.lower().lstrip(".")
            mesh = CorpusMesh(_source(path, folder), name, suffix, path, member)
            if name.startswith(PARTLY.get(mesh.source, "")):
                found.setdefault(name, mesh)
    return sorted(found.values(), key=lambda mesh: (mesh.source, mesh.id))


def fetch_registry(folder: Path = FOLDER) -> None:
    """The registry's packages, with the ordinary client; nothing of them is installed."""
    command = [sys.executable, "-m", "pip", "download", "-q", "--no-deps", "--only-binary", ":all:"]
    subprocess.run([*command, "-d", str(folder / "registry"), *REGISTRY], check=True)


def _meshes_in(path: Path) -> Iterator[tuple[str | None, bytes]]:
    """The mesh files in an archive, or the file itself where it is a mesh."""
    if path.name.endswith((".tar.gz", ".tgz")):
        with tarfile.open(path) as packed:
            for entry in packed:
                if entry.isfile() and _is_mesh(entry.name) and entry.size <= MAX_BYTES:
                    held = packed.extractfile(entry)
                    assert held is not None
                    yield entry.name, held.read()
    elif path.suffix in (".whl", ".zip"):
        with zipfile.ZipFile(path) as archive:
            for info in archive.infolist():
                if _is_mesh(info.filename) and info.file_size <= MAX_BYTES:
                    yield info.filename, archive.read(info)
    elif _is_mesh(path.name) and path.stat().st_size <= MAX_BYTES:
        yield None, path.read_bytes()


def _is_mesh(name: str) -> bool:
    return Path(name).suffix.lower().lstrip(".") in FORMATS


def _source(path: Path, folder: Path) -> str:
    """The package that a file came with: a Debian folder, or the start of an archive's name."""
    parts = path.relative_to(folder).parts
    for name, package in DEBIAN.items():
        if name in parts:
            return package
    return path.name.split("-")[0] if parts[0] == "registry" else parts[0]
