"""Six formats read to the same part; each bad file gets one refusal that helps."""

from __future__ import annotations

import io
import json
import struct
import zipfile
from pathlib import Path

import numpy as np
import pytest

import menagerie as m
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.mesh import Mesh
from firstpull.core.mesh.refusals import BadCoordinates, NoArea, NoTriangles
from firstpull.core.mesh.topology import is_closed
from firstpull.files import read_3mf
from firstpull.files.first_look import first_fault
from firstpull.files.read_mesh import read_mesh
from firstpull.files.refusals import (
    MeshFeatureMissing,
    MeshFileDamaged,
    MeshFileEmpty,
    MeshFileMissing,
    MeshFileTooLarge,
    MeshFileTruncated,
    MeshFileUnreadable,
    MeshFormatUnknown,
)
from firstpull.files.write_stl import write_stl

trimesh = pytest.importorskip("trimesh")

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"


def other(mesh: Mesh) -> object:
    return trimesh.Trimesh(np.array(mesh.vertices_mm), np.array(mesh.faces), process=False)


@pytest.mark.parametrize("suffix", ["stl", "obj", "ply", "off", "glb", "3mf"])
def test_what_trimesh_writes_is_read_whole(suffix: str, tmp_path: Path) -> None:
    """Writer: trimesh. 32-bit coordinates (STL, PLY, GLB) are right to 2^-24 of their size."""
    part = m.ball(at=(3, 5, 7))
    path = tmp_path / f"part.{suffix.upper()}"
    path.write_bytes(_exported(part, suffix))
    found = read_mesh(path)
    assert found.format == suffix and first_fault(path, suffix) is None
    assert found.declared_unit == {"glb": "m", "3mf": "mm"}.get(suffix)
    assert is_closed(found.mesh)
    assert found.mesh.bounds_mm == pytest.approx(part.bounds_mm, abs=70 * 2**-23)
    assert found.mesh.volume_mm3 == pytest.approx(part.volume_mm3, rel=1e-6)


def _exported(mesh: Mesh, suffix: str) -> bytes:
    data = other(mesh).export(file_type=suffix)  # type: ignore[attr-defined]
    return data.encode() if isinstance(data, str) else data


def test_text_forms_of_stl_and_ply(tmp_path: Path) -> None:
    part = m.ball(rings=8)
    (tmp_path / "a.stl").write_text(trimesh.exchange.stl.export_stl_ascii(other(part)))
    (tmp_path / "a.ply").write_bytes(trimesh.exchange.ply.export_ply(other(part), encoding="ascii"))
    for name in ("a.stl", "a.ply"):
        found = read_mesh(tmp_path / name).mesh
        assert first_fault(tmp_path / name, name[-3:]) is None
        assert is_closed(found)
        assert found.volume_mm3 == pytest.approx(part.volume_mm3, rel=1e-5)


# STL


def _stl(mesh: Mesh, *, header: bytes = b"", count: int | None = None) -> bytes:
    records = np.zeros(
        len(mesh.faces), dtype=[("n", "<f4", 3), ("c", "<f4", (3, 3)), ("extra", "<u2")]
    )
    records["c"] = mesh.corners_mm
    n = len(mesh.faces) if count is None else count
    return header.ljust(80, b" ") + struct.pack("<I", n) + records.tobytes()


def test_a_binary_stl_whose_header_says_solid_is_read_and_noted(tmp_path: Path) -> None:
    path = tmp_path / "a.stl"
    path.write_bytes(_stl(m.box(), header=b"solid box"))
    found = read_mesh(path)
    assert len(found.mesh.faces) == 12
    assert any("binary" in note for note in found.notes)


NAN = m.box().vertices_mm.copy()
NAN[0, 0] = np.nan
BAD_STL = {
    "empty": (b"", MeshFileEmpty, "empty"),
    "zeros": (b"\x00" * 500, MeshFileEmpty, "500 blank bytes"),
    "header only": (b"\x01\x02" * 20, MeshFileTruncated, "40 bytes"),
    "cut short": (_stl(m.box())[:-120], MeshFileTruncated, "12 triangles but ends after 9"),
    "cut short, says solid": (
        _stl(m.box(), header=b"solid")[:-120],
        MeshFileTruncated,
        "12 triangles but ends after 9",
    ),
    "wrong count": (_stl(m.box(), count=5), MeshFileDamaged, "5 triangles but holds 12"),
    "no triangles": (b"header".ljust(84, b"\x00"), NoTriangles, "no triangles"),
    "a letter": (b"Dear maker,\nhere is the mask.\n" * 9, MeshFileDamaged, "text"),
    "a short letter": (b"here is the mask", MeshFileDamaged, "neither text nor binary"),
    "text cut short": (
        b"solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\n",
        MeshFileTruncated,
        "begins 1 facet, ends 0",
    ),
    "comma as decimal mark": (
        b"solid a\nfacet normal 0 0 1\nouter loop\nvertex 0,5 0 0\nvertex 1 0 0\nvertex 0 1 0\n"
        b"endloop\nendfacet\nendsolid a\n",
        MeshFileDamaged,
        "not a comma",
    ),
    "binary within text": (
        b"solid a\nfacet normal 0 0 1\n" + bytes(range(256)) * 20,
        MeshFileDamaged,
        "goes on in binary",
    ),
    "not a number": (_stl(Mesh(NAN, m.box().faces)), BadCoordinates, "no number"),
    "flat to a line": (_stl(m.box().moved(np.diag([1.0, 0, 0, 1]))), NoArea, "no area"),
}


@pytest.mark.parametrize("name", BAD_STL)
def test_a_bad_stl_gets_one_clear_refusal(name: str, tmp_path: Path) -> None:
    data, kind, words = BAD_STL[name]
    path = tmp_path / "mask.stl"
    path.write_bytes(data)
    with pytest.raises(kind) as caught:
        read_mesh(path)
    said = str(caught.value)
    assert said.startswith("mask.stl ") and words in said
    assert caught.value.remedy.endswith(".")


# OBJ, OFF, PLY


def test_obj_with_polygons_negative_numbers_and_slashes(tmp_path: Path) -> None:
    """An L-shaped floor of six corners has area 3; cut from its first corner it would not."""
    path = tmp_path / "a.obj"
    path.write_text(
        "# heron\nv 1 1 0\nv 1 2 0 1.0\nv 0 2 0\nv 0 0 0 0.1 0.2 0.3\nv 2 0 0\nv 2 1 0\n"
        "vt 0 0\nvn 0 0 1\nf -6/1/1 -5//1 -4/1 \\\n -3 5 6\n"
    )
    found = read_mesh(path)
    assert found.mesh.area_mm2 == pytest.approx(3.0)
    assert np.allclose(found.mesh.face_normals, [0, 0, 1])
    assert "more than three corners" in found.notes[0]


def test_a_four_sided_face_with_a_notch_is_cut_at_the_notch(tmp_path: Path) -> None:
    path = tmp_path / "a.off"
    path.write_text(
        "OFF\n4 1 0 # an arrow head\n0 0 0\n2 -1 0\n0.5 0 0\n2 1 0\n4 0 1 2 3 255 0 0\n"
    )
    found = read_mesh(path).mesh
    assert found.area_mm2 == pytest.approx(0.5)
    assert (found.face_normals[:, 2] > 0).all()


@pytest.mark.parametrize("order", ["ascii", "binary_little_endian", "binary_big_endian"])
def test_ply_with_triangle_strips(order: str, tmp_path: Path) -> None:
    """A box as one strip with restarts; read as points it would have no faces at all."""
    square = np.array([[0, 0, 0], [2, 0, 0], [0, 3, 0], [2, 3, 0]], dtype="f4")
    corners = [0, 1, 2, 3, -1, 2, 1, 0]
    head = (
        f"ply\nformat {order} 1.0\ncomment a strip\nelement vertex 4\nproperty float x\n"
        "property float y\nproperty float z\nelement tristrips 1\n"
        "property list int int vertex_indices\nend_header\n"
    )
    mark = {"binary_little_endian": "<", "binary_big_endian": ">"}.get(order)
    if mark is None:
        rows = "\n".join(" ".join(map(str, row)) for row in square.tolist())
        body = f"{rows}\n{len(corners)} {' '.join(map(str, corners))}\n".encode()
    else:
        body = square.astype(mark + "f4").tobytes()
        body += np.array([len(corners), *corners], dtype=mark + "i4").tobytes()
    path = tmp_path / "a.ply"
    path.write_bytes(head.encode() + body)
    found = read_mesh(path).mesh
    assert len(found.faces) == 3
    assert found.face_normals[:, 2].tolist() == [1.0, 1.0, -1.0]


def test_ply_with_faces_of_mixed_size(tmp_path: Path) -> None:
    path = tmp_path / "a.ply"
    rows = [(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0), (0, 0, 1)]
    head = (
        "ply\nformat binary_little_endian 1.0\nelement vertex 5\nproperty double x\n"
        "property double y\nproperty double z\nelement face 2\nproperty uchar red\n"
        "property list uchar uint vertex_index\nend_header\n"
    )
    faces = struct.pack("<BB4I", 9, 4, 0, 1, 2, 3) + struct.pack("<BB3I", 9, 3, 0, 1, 4)
    path.write_bytes(head.encode() + np.array(rows, dtype="<f8").tobytes() + faces)
    assert read_mesh(path).mesh.area_mm2 == pytest.approx(1.5)


BAD_TEXT = {
    "a.obj": [
        (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n", MeshFileDamaged, "does not have"),
        (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 0 1 2\n", MeshFileDamaged, "vertex 0"),
        (b"v 0 0 0\nv 1 0 0\nv 0 1 0\n", NoTriangles, "points"),
        (b"v 0 0\nf 1 1 1\n", MeshFileDamaged, "line 1"),
        (b"v 0 0 zero\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", MeshFileDamaged, '"zero"'),
        (b"v nan 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", BadCoordinates, "triangle 1"),
        (b"v inf 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", BadCoordinates, "no number"),
        (b"v 1e30 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", BadCoordinates, "farther"),
    ],
    "a.off": [
        (b"OFF\n3 1 0\n0 0 0\n1 0 0\n", MeshFileTruncated, "3 vertices"),
        (b"OFF BINARY\n", MeshFeatureMissing, "binary form"),
        (b"4OFF\n1 1 1\n", MeshFeatureMissing, "four"),
        (b"hello\n", MeshFileDamaged, '"OFF"'),
    ],
    "a.ply": [
        (b"ply\nformat ascii 1.0\nelement vertex 3\n", MeshFileTruncated, "header"),
        (
            b"ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\n"
            b"property float z\nend_header\n0 0 0\n1 0 0\n",
            MeshFileTruncated,
            "2 of 3",
        ),
        (
            b"ply\nformat ascii 1.0\nelement vertex 3\nproperty float x\nproperty float y\n"
            b"property float z\nend_header\n0 0 0\n1 0 0\n0 1 0\n",
            NoTriangles,
            "points",
        ),
        (
            b"ply\nformat binary_little_endian 1.0\nelement vertex 900\nproperty float x\n"
            b"property float y\nproperty float z\nend_header\n" + b"\x01" * 60,
            MeshFileTruncated,
            "promises 900",
        ),
        (b"plywood", MeshFileTruncated, "header"),
    ],
}


@pytest.mark.parametrize(
    ("name", "data", "kind", "words"),
    [(name, *case) for name, cases in BAD_TEXT.items() for case in cases],
)
def test_bad_text_formats_are_refused_in_one_sentence(
    name: str, data: bytes, kind: type[WorkshopError], words: str, tmp_path: Path
) -> None:
    (tmp_path / name).write_bytes(data)
    with pytest.raises(kind) as caught:
        read_mesh(tmp_path / name)
    assert words in str(caught.value)


# GLB


def _glb(gltf: dict[str, object], binary: bytes) -> bytes:
    text = json.dumps({"asset": {"version": "2.0"}, **gltf}).encode()
    text += b" " * (-len(text) % 4)
    binary += b"\x00" * (-len(binary) % 4)
    length = 12 + 8 + len(text) + 8 + len(binary)
    head = struct.pack("<4sII", b"glTF", 2, length)
    return (
        head
        + struct.pack("<I4s", len(text), b"JSON") + text
        + struct.pack("<I4s", len(binary), b"BIN\x00") + binary
    )  # fmt: skip


def _one_mesh(nodes: list[dict[str, object]], **more: object) -> bytes:
    part = m.box(size_mm=(0.2, 0.1, 0.05))
    vertices = part.vertices_mm.astype("<f4").tobytes()
    corners = part.faces.astype("<u2").tobytes()
    return _glb(
        {
            "scene": 0,
            "scenes": [{"nodes": [0]}],
            "nodes": nodes,
            "meshes": [{"primitives": [{"attributes": {"POSITION": 0}, "indices": 1}]}],
            "accessors": [
                {"bufferView": 0, "componentType": 5126, "count": 8, "type": "VEC3"},
                {"bufferView": 1, "componentType": 5123, "count": 36, "type": "SCALAR"},
            ],
            "bufferViews": [
                {"buffer": 0, "byteLength": len(vertices)},
                {"buffer": 0, "byteOffset": len(vertices), "byteLength": len(corners)},
            ],
            "buffers": [{"byteLength": len(vertices) + len(corners)}],
            **more,
        },
        vertices + corners,
    )


def test_nested_placements_of_a_scene_are_applied(tmp_path: Path) -> None:
    """Reference: trimesh reads the same scene."""
    s = float(np.sin(np.pi / 8))
    c = float(np.cos(np.pi / 8))
    nodes: list[dict[str, object]] = [
        {"children": [1, 2], "translation": [1, 2, 3], "rotation": [0, s, 0, c]},
        {"mesh": 0, "scale": [2, 1, -1]},
        {"children": [3], "matrix": [0, 1, 0, 0, -1, 0, 0, 0, 0, 0, 1, 0, 5, 0, 0, 1]},
        {"mesh": 0, "translation": [0, 0, 9]},
    ]
    path = tmp_path / "a.glb"
    path.write_bytes(_one_mesh(nodes))
    found = read_mesh(path)
    expected = trimesh.load_scene(path).to_geometry()
    assert found.declared_unit == "m"
    assert found.mesh.bounds_mm == pytest.approx(expected.bounds, abs=1e-6)
    assert found.mesh.volume_mm3 == pytest.approx(3 * 0.001, rel=1e-5)  # none turned inside out


def test_a_bad_glb_is_refused_by_name(tmp_path: Path) -> None:
    sound = _one_mesh([{"mesh": 0}])
    path = tmp_path / "a.glb"
    for data, kind, words in (
        (sound[:-30], MeshFileTruncated, "promises"),
        (b"glTF" + struct.pack("<II", 1, 20) + b" " * 8, MeshFeatureMissing, "version 1"),
        (b"not a scene", MeshFileDamaged, "glTF"),
        (_one_mesh([{"children": [0]}]), MeshFileDamaged, "contains itself"),
        (
            _one_mesh([{"mesh": 0}], extensionsRequired=["KHR_draco_mesh_compression"]),
            MeshFeatureMissing,
            "without compression",
        ),
        (
            _one_mesh([{"mesh": 0}], buffers=[{"uri": "heron.bin", "byteLength": 168}]),
            MeshFeatureMissing,
            "another file",
        ),
        (_one_mesh([{"mesh": 7}]), MeshFileDamaged, "cannot be made sense of"),
        (_one_mesh([{}]), NoTriangles, "no triangles"),
    ):
        path.write_bytes(data)
        with pytest.raises(kind, match=words):
            read_mesh(path)


# 3MF


def _3mf(model: str, **more: bytes) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("3D/3dmodel.model", model)
        for name, data in more.items():
            archive.writestr(name, data)
    return packed.getvalue()


def _object(name: int, mesh: Mesh, kind: str = "model") -> str:
    points = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in mesh.vertices_mm)
    faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in mesh.faces)
    return (
        f'<object id="{name}" type="{kind}"><mesh><vertices>{points}</vertices>'
        f"<triangles>{faces}</triangles></mesh></object>"
    )


def _model(resources: str, build: str, unit: str = ' unit="inch"') -> str:
    return (
        f'<?xml version="1.0"?><model{unit} xmlns="{CORE}"><resources>{resources}</resources>'
        f"<build>{build}</build></model>"
    )


def test_3mf_units_components_and_placements(tmp_path: Path) -> None:
    part = m.box(size_mm=(1, 2, 3))
    group = (
        '<object id="2"><components><component objectid="1"/>'
        '<component objectid="1" transform="1 0 0 0 1 0 0 0 1 10 0 0"/></components></object>'
    )
    build = (
        '<item objectid="2" transform="0 1 0 -1 0 0 0 0 1 0 0 5"/>'
        '<item objectid="3"/><item objectid="1" transform="1 0 0 0 1 0 0 0 1 0 50 0"/>'
    )
    path = tmp_path / "a.3mf"
    path.write_bytes(_3mf(_model(_object(1, part) + group + _object(3, part, "support"), build)))
    found = read_mesh(path)
    assert found.declared_unit == "in"
    assert found.mesh.volume_mm3 == pytest.approx(3 * 6)
    # a quarter turn takes x to y: the pair stands along y, from x = -2 to 0
    assert found.mesh.bounds_mm[0] == pytest.approx((-2, 0, 0))
    assert found.mesh.bounds_mm[1] == pytest.approx((1, 52, 8))
    assert any("support" in note for note in found.notes)


def test_a_3mf_bomb_is_refused_before_it_is_unpacked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "bomb.3mf"
    path.write_bytes(_3mf(_model("", ""), **{"3D/more.model": b"<" * (64 << 20)}))

    def never(*_: object) -> bytes:
        raise AssertionError("unpacked")

    monkeypatch.setattr(read_3mf, "_unpacked", never)
    with pytest.raises(MeshFileTooLarge, match="1/150"):
        read_mesh(path)


def test_a_3mf_that_lies_about_its_size_is_refused(tmp_path: Path) -> None:
    """The directory is edited to promise 10 bytes where the part unpacks to 200 kB."""
    data = bytearray(_3mf(_model("", "") + " " * 200_000))
    size = struct.pack("<I", len(_model("", "")) + 200_000)
    for at in range(len(data) - 4):
        if data[at : at + 4] == size:
            data[at : at + 4] = struct.pack("<I", 10)
    path = tmp_path / "a.3mf"
    path.write_bytes(data)
    with pytest.raises(MeshFileDamaged):
        read_mesh(path)


def test_a_bad_3mf_is_refused_by_name(tmp_path: Path) -> None:
    part = m.box()
    sound = _3mf(_model(_object(1, part), '<item objectid="1"/>'))
    endless = '<object id="1"><components><component objectid="1"/></components></object>'
    laughs = '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "ha">]>' + _model("", "")[21:]
    empty = io.BytesIO()
    with zipfile.ZipFile(empty, "w") as archive:
        archive.writestr("readme.txt", "no model")
    path = tmp_path / "a.3mf"
    for data, kind, words in (
        (sound[: len(sound) // 2], MeshFileTruncated, "ends early"),
        (b"not a zip", MeshFileDamaged, "zip archive"),
        (empty.getvalue(), MeshFileDamaged, "no model"),
        (_3mf(_model(_object(1, part), '<item objectid="1"/>')[:-40]), MeshFileDamaged, "line"),
        (_3mf(laughs), MeshFileDamaged, "entities"),
        (_3mf(_model(endless, '<item objectid="1"/>')), MeshFileDamaged, "without end"),
        (_3mf(_model("", '<item objectid="4"/>')), MeshFileDamaged, "object 4"),
        (_3mf(_model(_object(1, part), "")), NoTriangles, "no triangles"),
    ):
        path.write_bytes(data)
        with pytest.raises(kind, match=words):
            read_mesh(path)


# Names, sizes, rights


def test_missing_unknown_folder_and_too_large(tmp_path: Path) -> None:
    with pytest.raises(MeshFileMissing, match="does not exist"):
        read_mesh(tmp_path / "gone.stl")
    (tmp_path / "a.step").write_text("x")
    with pytest.raises(MeshFormatUnknown, match=r'"\.step".*stl, obj, ply, off, glb, 3mf'):
        read_mesh(tmp_path / "a.step")
    (tmp_path / "mask").write_text("x")
    with pytest.raises(MeshFormatUnknown, match="no suffix"):
        read_mesh(tmp_path / "mask")
    (tmp_path / "folder.stl").mkdir()
    with pytest.raises(MeshFileUnreadable, match="is a folder"):
        read_mesh(tmp_path / "folder.stl")
    write_stl(tmp_path / "a.stl", m.ball())
    with pytest.raises(MeshFileTooLarge, match="MB"):
        read_mesh(tmp_path / "a.stl", max_bytes=1000)


def test_a_file_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_stl(tmp_path / "a.stl", m.ball())

    def denied(_: Path) -> bytes:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", denied)
    with pytest.raises(MeshFileUnreadable, match="Permission denied"):
        read_mesh(tmp_path / "a.stl")
