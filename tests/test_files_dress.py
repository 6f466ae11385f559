"""Names and colours follow their faces, however a file stores them."""

from __future__ import annotations

import io
import json
import struct
import zipfile
from pathlib import Path

import numpy as np
import pytest

import menagerie as m
from firstpull.core.mesh.topology import is_closed
from firstpull.files.polygons import Rows, triangulated
from firstpull.files.read_mesh import MeshFile, read_mesh
from firstpull.files.refusals import MeshFileDamaged, MeshFileTruncated
from firstpull.files.write_mesh import write_mesh

RED, GREEN, BLUE = [255, 0, 0, 255], [0, 255, 0, 255], [0, 0, 255, 255]
WHITE = [255, 255, 255, 255]


def read(folder: Path, name: str, data: bytes | str) -> MeshFile:
    path = folder / name
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    return read_mesh(path)


def names(file: MeshFile) -> list[str]:
    """The name of each face."""
    assert file.dress is not None
    return [file.dress.names[k] for k in file.dress.part]


def at_places(file: MeshFile) -> dict[tuple[float, ...], list[int]]:
    """The colour at each place, where all corners there agree."""
    assert file.dress is not None
    colours = file.dress.corner_colours(file.mesh)
    assert colours is not None
    out: dict[tuple[float, ...], list[int]] = {}
    for place, colour in zip(
        file.mesh.corners_mm.reshape(-1, 3).tolist(), colours.reshape(-1, 4).tolist(), strict=True
    ):
        assert out.setdefault(tuple(place), colour) == colour
    return out


def face_colours(file: MeshFile) -> list[list[int]]:
    assert file.dress is not None and file.dress.face_colours is not None
    return file.dress.face_colours.tolist()


def test_triangles_come_in_the_order_of_the_polygons() -> None:
    """Five corners, three, four, two: 3 + 1 + 2 + 0 triangles, of the whole area."""
    ring = np.array([[0, 0, 0], [2, 0, 0], [2, 2, 0], [1, 0.5, 0], [0, 2, 0]], dtype=float)
    polygons = Rows.of([[0, 1, 2, 3, 4], [0, 1, 2], [0, 1, 2, 4], [0, 1]])
    faces, polygon = triangulated(polygons, ring)
    assert polygon.tolist() == [0, 0, 0, 1, 2, 2]
    areas = 0.5 * np.cross(
        ring[faces[:, 1]] - ring[faces[:, 0]], ring[faces[:, 2]] - ring[faces[:, 0]]
    )
    # the notch takes 1.5 of the square's 4
    assert [areas[polygon == k, 2].sum() for k in range(3)] == pytest.approx([2.5, 2.0, 4.0])


@pytest.mark.parametrize("corners", [12, 501, 4000])
def test_a_ring_of_many_corners_is_cut_without_overlap(corners: int) -> None:
    """A star with every second corner drawn in: its area by the shoelace formula, no triangle
    turned over. A ring of no shape at all still ends, with as many triangles."""
    angle = 2 * np.pi * np.arange(corners) / corners
    away = np.where(np.arange(corners) % 2, 5.0, 3.0 + np.cos(3 * angle))
    ring = np.stack([away * np.cos(angle), away * np.sin(angle), 0 * angle], axis=1)
    x, y = ring[:, 0], ring[:, 1]
    shoelace = 0.5 * (x * np.roll(y, -1) - y * np.roll(x, -1)).sum()
    faces, _ = triangulated(Rows.of([list(range(corners))]), ring)
    assert len(faces) == corners - 2
    areas = _areas(ring, faces)
    assert (areas > -1e-9).all()
    assert areas.sum() == pytest.approx(shoelace, rel=1e-9)
    mixed = np.random.default_rng(3).permutation(corners)
    assert len(triangulated(Rows.of([mixed.tolist()]), ring)[0]) == corners - 2


def test_a_hole_joined_to_its_border_is_left_open() -> None:
    """A square of 4 with a square hole of 2: 16 - 4; the ring runs along the cut twice."""
    outer = [[0, 0, 0], [4, 0, 0], [4, 4, 0], [0, 4, 0]]
    hole = [[1, 1, 0], [1, 3, 0], [3, 3, 0], [3, 1, 0]]
    ring = np.array([*outer, outer[0], *hole, hole[0]], dtype=float)
    faces, _ = triangulated(Rows.of([list(range(10))]), ring)
    areas = _areas(ring, faces)
    assert (areas > 0).all() and areas.sum() == pytest.approx(12.0)


def _areas(ring: np.ndarray, faces: np.ndarray) -> np.ndarray:
    one, two = ring[faces[:, 1]] - ring[faces[:, 0]], ring[faces[:, 2]] - ring[faces[:, 0]]
    return 0.5 * np.cross(one, two)[:, 2]


# STL


FACET = (
    "facet normal 0 0 1\nouter loop\nvertex {0} 0 0\nvertex {1} 0 0\nvertex 0 {1} 0\n"
    "endloop\nendfacet\n"
)


def test_solids_of_a_text_stl_are_parts(tmp_path: Path) -> None:
    text = (
        "solid solid beak\n" + FACET.format(0, 1) + FACET.format(1, 2) + "endsolid beak\n"
        "solid\n" + FACET.format(2, 3) + "endsolid\n"
        "  SOLID crest\r\n" + FACET.format(3, 4) + "endsolid crest\n"
    )
    assert names(read(tmp_path, "a.stl", text)) == ["solid beak", "solid beak", "", "crest"]


@pytest.mark.parametrize(
    ("header", "name"),
    [
        (b"heron mask", "heron mask"),
        (b"solid heron", "heron"),
        (b"heron\0rubbish", "heron"),
        (b"\x01\x02 heron", None),
        (b"\xff\xfe", None),
        (b"", None),
    ],
)
def test_the_header_of_a_binary_stl_is_a_name(
    header: bytes, name: str | None, tmp_path: Path
) -> None:
    write_mesh(tmp_path / "a.stl", m.box())
    data = header.ljust(80, b"\0") + (tmp_path / "a.stl").read_bytes()[80:]
    found = read(tmp_path, "b.stl", data)
    assert len(found.mesh.faces) == 12
    assert found.dress is None if name is None else found.dress.names == (name,)


def test_an_stl_with_too_many_or_too_few_bytes(tmp_path: Path) -> None:
    write_mesh(tmp_path / "a.stl", m.box())
    sound = (tmp_path / "a.stl").read_bytes()
    assert "7 bytes" in read(tmp_path, "b.stl", sound + b"\x01" * 7).notes[0]
    with pytest.raises(MeshFileDamaged, match="12 triangles but holds 14"):
        read(tmp_path, "b.stl", sound + b"\x01" * 100)
    with pytest.raises(MeshFileTruncated, match="12 triangles but ends after 11"):
        read(tmp_path, "b.stl", sound[:-1])
    marked = bytearray(sound)
    marked[84 + 48] = 31
    assert "no standard" in read(tmp_path, "b.stl", bytes(marked)).notes[0]


# OBJ


SQUARES = (
    "mtllib heron.mtl\r\no mask\r\nv 9 9 9 0 0 0\r\nv 0 0 0 1 0 0\r\nv 1 0 0 0 1 0\r\n"
    "v 1 1 0 0 0 1\r\n v 0 1 0 1 1 1\r\ng beak\r\nusemtl horn\r\nf 2/1/1 3/2/1 4/3/1 5/4/1\r\n"
    "g default\r\nv 0 0 5\r\nv 1 0 5 1.0 1 0 0\r\nv 1 1 5\r\nf -3 -2 -1\r\n"
    "o\r\nf -1//1 2//1 3//1\r\n"
    "o crest \t of the heron # worn\r\no tail\r\nf 2 3 \\\r\n 4 # last\r\n"
)


def test_obj_names_and_colours_follow_polygons_and_negative_numbers(tmp_path: Path) -> None:
    found = read(tmp_path, "a.obj", SQUARES)
    assert names(found) == ["mask/beak", "mask/beak", "mask", "", "tail"]
    colours = at_places(found)
    assert colours == {
        (0, 0, 0): RED, (1, 0, 0): GREEN, (1, 1, 0): BLUE, (0, 1, 0): WHITE,
        (0, 0, 5): WHITE, (1, 0, 5): RED, (1, 1, 5): WHITE,
    }  # fmt: skip
    assert any("separate material file" in note for note in found.notes)
    assert any("1 faces of more than three" in note for note in found.notes)


def test_obj_colours_up_to_255_are_told_from_shares(tmp_path: Path) -> None:
    text = "v 0 0 0 255 0 0\nv 1 0 0 0 255 0\nv 0 1 0 0 0 1\nf 1 2 3\n"
    found = at_places(read(tmp_path, "a.obj", text))
    assert found == {(0, 0, 0): RED, (1, 0, 0): GREEN, (0, 1, 0): [0, 0, 1, 255]}


@pytest.mark.parametrize("word", ["mm", "Millimetres", "millimeter"])
def test_a_comment_declares_the_unit(word: str, tmp_path: Path) -> None:
    body = "v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"
    assert read(tmp_path, "a.obj", f"# heron\n# Units: {word}\n{body}").declared_unit == "mm"
    assert read(tmp_path, "a.obj", f"# units of mm or so\n{body}").declared_unit is None


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("f 1 2 x", '"x" for a vertex number in line 5'),
        ("f 1 2 2.5", '"2.5" for a vertex number in line 5'),
        ("f 1 2 0", "vertex 0 in line 5"),
        ("f 1 2 -4", "does not have"),
        ("f 1/a 2/b //3", "for a vertex number in line 5"),
    ],
)
def test_a_bad_corner_is_named_with_its_line(row: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(MeshFileDamaged, match=words):
        read(tmp_path, "a.obj", f"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n{row}\n")


# OFF


POINTS = [(0, 0, 0), (1, 0, 0), (0, 1, 0)]
SHADES = [RED, GREEN, BLUE]


def _off(kind: str, rows: list[str], face: str = "3 0 1 2") -> str:
    return f"{kind} # heron\n# more\n\n3 1 0\n" + "\n".join(rows) + f"\n{face}\n"


@pytest.mark.parametrize(
    ("kind", "before", "after"),
    [("COFF", "", ""), ("CNOFF", " 0 0 1.5", ""), ("STCNOFF", " 0 0 1", " 0.5 0.5")],
)
@pytest.mark.parametrize("form", ["ints", "opaque", "shares"])
def test_colours_of_off_vertices_in_all_variants(
    kind: str, before: str, after: str, form: str, tmp_path: Path
) -> None:
    rows = []
    for place, colour in zip(POINTS, SHADES, strict=True):
        told = [c / 255 for c in colour] if form == "shares" else colour
        told = told[:3] if form == "opaque" else told
        rows.append(f"{' '.join(map(str, place))}{before} {' '.join(map(str, told))}{after}")
    found = at_places(read(tmp_path, "a.off", _off(kind, rows)))
    assert found == dict(zip(POINTS, SHADES, strict=True))


def test_off_normals_and_textures_are_no_colours(tmp_path: Path) -> None:
    for kind, more in (("NOFF", " 0 0 1"), ("STOFF", " 0.5 0.5"), ("OFF", "")):
        rows = [" ".join(map(str, place)) + more for place in POINTS]
        found = read(tmp_path, "a.off", _off(kind, rows))
        assert found.dress is None and found.mesh.area_mm2 == 0.5


def test_colours_of_off_faces_follow_the_cut_polygons(tmp_path: Path) -> None:
    """Whole numbers, with opacity, as shares; a dark whole number is not a share."""
    text = (
        "OFF 5 5 0\n0 0 0\n1 0 0\n1 1 0\n0 1 0\n0 0 1\n4 0 1 2 3 255 0 0\n3 0 1 4 0 0 255 128\n"
        "3 1 2 4\n3 2 3 4 0 1 1\n3 3 0 4 7\n"
    )
    found = read(tmp_path, "a.off", text)
    assert face_colours(found) == [
        RED, RED, [0, 0, 255, 128], WHITE, [0, 1, 1, 255], WHITE,
    ]  # fmt: skip
    assert any("by number from a list" in note for note in found.notes)
    shares = _off("OFF", ["0 0 0", "1 0 0", "0 1 0"], "3 0 1 2 0.5 1.0 0")
    assert face_colours(read(tmp_path, "a.off", shares)) == [[128, 255, 0, 255]]


def test_off_with_both_kinds_of_colour_says_so(tmp_path: Path) -> None:
    rows = [" ".join(map(str, (*p, *RED))) for p in POINTS]
    found = read(tmp_path, "a.off", _off("COFF", rows, "3 0 1 2 0 0 255"))
    assert face_colours(found) == [BLUE]
    assert "those of the faces" in found.notes[0]


# PLY


ORDERS = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}


def _ply(order: str, header: str, rows: list[tuple[str, list[float]]]) -> bytes:
    """Rows of (struct letters, values)."""
    head = f"ply\nformat {order} 1.0\n{header}end_header\n".encode()
    if order == "ascii":
        return head + "\n".join(" ".join(f"{v:g}" for v in values) for _, values in rows).encode()
    return head + b"".join(struct.pack(ORDERS[order] + f, *values) for f, values in rows)


XYZ = "property float x\nproperty float y\nproperty float z\n"
RGB = "property uchar red\nproperty uchar green\nproperty uchar blue\n"


@pytest.mark.parametrize("order", ORDERS)
def test_ply_strips_keep_the_colours_of_their_vertices(order: str, tmp_path: Path) -> None:
    header = (
        f"element vertex 5\n{XYZ}{RGB}element tristrips 1\nproperty list int int vertex_indices\n"
    )
    corners = [1, 2, 3, 4, -1, 3, 2, 1]
    rows: list[tuple[str, list[float]]] = [
        ("3f3B", [*place, *colour])
        for place, colour in [
            ((9, 9, 9), (1, 2, 3)), ((0, 0, 0), RED[:3]), ((2, 0, 0), GREEN[:3]),
            ((0, 3, 0), BLUE[:3]), ((2, 3, 0), WHITE[:3]),
        ]
    ]  # fmt: skip
    rows.append(("9i", [8, *corners]))
    found = read(tmp_path, "a.ply", _ply(order, header, rows))
    assert found.mesh.face_normals[:, 2].tolist() == [1, 1, -1]
    assert at_places(found) == {
        (0, 0, 0): RED, (2, 0, 0): GREEN, (0, 3, 0): BLUE, (2, 3, 0): WHITE,
    }  # fmt: skip


@pytest.mark.parametrize("order", ORDERS)
def test_colours_of_ply_faces_follow_polygons_of_mixed_size(order: str, tmp_path: Path) -> None:
    """Colours before and after the list, and a list that means something else."""
    header = (
        f"comment unit cm\nelement vertex 5\n{XYZ}element face 3\nproperty uchar red\n"
        "property uchar green\nproperty list uchar int vertex_indices\nproperty uchar blue\n"
        "property list ushort float texcoord\nproperty uchar alpha\n"
    )
    places = [(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0), (0, 0, 1)]
    rows: list[tuple[str, list[float]]] = [("3f", [*place]) for place in places]
    rows += [
        ("2BB3iBH2fB", [255, 0, 3, 0, 1, 4, 0, 2, 0.5, 0.5, 200]),
        ("2BB4iBHB", [0, 255, 4, 0, 1, 2, 3, 0, 0, 201]),
        ("2BB3iBHfB", [0, 0, 3, 1, 2, 4, 255, 1, 0.25, 202]),
    ]
    found = read(tmp_path, "a.ply", _ply(order, header, rows))
    assert found.declared_unit == "cm"
    assert face_colours(found) == [
        [255, 0, 0, 200], [0, 255, 0, 201], [0, 255, 0, 201], [0, 0, 255, 202],
    ]  # fmt: skip
    assert found.mesh.faces.tolist()[0] == [0, 1, 4]


def test_ply_colours_of_other_types(tmp_path: Path) -> None:
    for kind, letter, whole in (("float", "f", 1.0), ("ushort", "H", 65535), ("double", "d", 1.0)):
        header = (
            f"element vertex 3\n{XYZ}"
            + "".join(f"property {kind} diffuse_{c}\n" for c in ("red", "green", "blue"))
            + "element face 1\nproperty list uchar int vertex_index\n"
        )
        rows: list[tuple[str, list[float]]] = [
            ("3f3" + letter, [*p, *(whole if c else 0 for c in colour[:3])])
            for p, colour in zip(POINTS, SHADES, strict=True)
        ]
        data = _ply("binary_big_endian", header, [*rows, ("B3i", [3, 0, 1, 2])])
        assert at_places(read(tmp_path, "a.ply", data)) == dict(zip(POINTS, SHADES, strict=True))


def test_a_ply_list_that_runs_past_the_end_is_refused(tmp_path: Path) -> None:
    header = f"element vertex 3\n{XYZ}element face 2\nproperty list int int vertex_indices\n"
    rows: list[tuple[str, list[float]]] = [("3f", [*p]) for p in POINTS]
    for face in ([2_000_000_000, 1, 2], [-1, 1, 2]):
        data = _ply("binary_little_endian", header, [*rows, ("4i", [3, 0, 1, 2]), ("3i", face)])
        with pytest.raises(MeshFileTruncated, match='its "face" rows'):
            read(tmp_path, "a.ply", data)
    text = _ply("ascii", header, [*rows, ("4i", [3, 0, 1, 2]), ("3i", [5, 1, 2])])
    with pytest.raises(MeshFileTruncated, match='1 of 2 "face" rows'):
        read(tmp_path, "a.ply", text)


# GLB


def _glb(gltf: dict[str, object], binary: bytes) -> bytes:
    text = json.dumps({"asset": {"version": "2.0"}, **gltf}).encode()
    text += b" " * (-len(text) % 4)
    length = 28 + len(text) + len(binary)
    return (
        struct.pack("<4sII", b"glTF", 2, length)
        + struct.pack("<I4s", len(text), b"JSON") + text
        + struct.pack("<I4s", len(binary), b"BIN\0") + binary
    )  # fmt: skip


def _triangle(
    nodes: list[dict[str, object]], *primitives: dict[str, object], **more: object
) -> bytes:
    """One triangle whose corners are red, green and blue (bytes), in a scene."""
    places = np.array(POINTS, dtype="<f4").tobytes()
    colours = np.array([c[:4] for c in SHADES], dtype="u1").tobytes()
    shape = {"attributes": {"POSITION": 0}}
    return _glb(
        {
            "scenes": [{"nodes": [0]}],
            "nodes": nodes,
            "meshes": [{"name": "tile", "primitives": [shape | p for p in primitives]}],
            "accessors": [
                {"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3"},
                {"bufferView": 1, "componentType": 5121, "normalized": True, "count": 3,
                 "type": "VEC4"},
            ],
            "bufferViews": [
                {"buffer": 0, "byteLength": 36},
                {"buffer": 0, "byteOffset": 36, "byteLength": 12},
            ],
            "buffers": [{"byteLength": 48}],
            **more,
        },
        places + colours,
    )  # fmt: skip


SHADED: dict[str, object] = {"attributes": {"POSITION": 0, "COLOR_0": 1}}


def test_glb_colours_stay_at_their_corners_under_a_mirror(tmp_path: Path) -> None:
    """A mirroring scale inside another placement turns faces over, colours with them."""
    nodes: list[dict[str, object]] = [
        {"children": [1, 2], "translation": [0, 0, 5]},
        {"mesh": 0, "name": "left"},
        {"children": [3], "scale": [-1, 1, 1]},
        {"mesh": 0, "translation": [1, 0, 0]},
    ]
    found = read(tmp_path, "a.glb", _triangle(nodes, SHADED))
    assert names(found) == ["left", "tile"]
    assert found.mesh.face_normals[:, 2].tolist() == [1, 1]
    assert at_places(found) == {
        (0, 0, 5): RED, (1, 0, 5): GREEN, (0, 1, 5): BLUE,
        (-1, 0, 5): RED, (-2, 0, 5): GREEN, (-1, 1, 5): BLUE,
    }  # fmt: skip


def test_glb_materials_multiply_and_textures_are_noted(tmp_path: Path) -> None:
    """glTF 2.0, 3.9.2: the factor times the colour of the corner, all linear.

    Half the light is sRGB 188 (IEC 61966-2-1: 1.055 * 0.5 ** (1 / 2.4) - 0.055 = 0.7354).
    """
    plain = {"baseColorFactor": [0.5, 0.5, 0.5, 1], "baseColorTexture": {"index": 0}}
    more = {"materials": [{"pbrMetallicRoughness": plain}]}
    found = read(tmp_path, "a.glb", _triangle([{"mesh": 0}], {"material": 0}, **more))
    assert face_colours(found) == [[188, 188, 188, 255]]
    assert any("Textures" in note for note in found.notes)
    both = _triangle([{"mesh": 0}], SHADED | {"material": 0}, **more)
    assert at_places(read(tmp_path, "a.glb", both))[(0, 0, 0)] == [188, 0, 0, 255]


def test_corners_that_disagree_give_their_faces_the_mean(tmp_path: Path) -> None:
    """Two triangles on each other: one shaded, one without colour."""
    found = read(tmp_path, "a.glb", _triangle([{"mesh": 0}], SHADED, {}))
    assert face_colours(found) == [[85, 85, 85, 255], WHITE]
    assert any("1 faces took the mean" in note for note in found.notes)
    assert len(found.mesh.vertices_mm) == 3


# 3MF


CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
MATERIAL = "http://schemas.microsoft.com/3dmanufacturing/material/2015/02"
TILE = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in POINTS)
PALETTES = (
    '<basematerials id="1"><base name="red" displaycolor="#FF0000"/>'
    '<base name="green" displaycolor="#00ff0080"/></basematerials>'
    '<m:colorgroup id="2"><m:color color="#FF0000"/><m:color color="#00FF00"/>'
    '<m:color color="#0000FF"/></m:colorgroup><m:texture2dgroup id="3" texid="9"/>'
)


def _3mf(objects: str, items: str) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        text = (
            f'<?xml version="1.0"?><model unit="centimeter" xmlns="{CORE}" xmlns:m="{MATERIAL}">'
            f"<resources>{PALETTES}{objects}</resources><build>{items}</build></model>"
        )
        archive.writestr("3D/3dmodel.model", text)
    return packed.getvalue()


def _object(number: int, triangles: list[str], more: str = "") -> str:
    faces = "".join(f'<triangle v1="0" v2="1" v3="2"{t}/>' for t in triangles)
    return (
        f'<object id="{number}"{more}><mesh><vertices>{TILE}</vertices>'
        f"<triangles>{faces}</triangles></mesh></object>"
    )


MIRROR = 'transform="-1 0 0 0 1 0 0 0 1 0 0 0"'


def test_3mf_names_and_corner_colours_through_nested_mirrored_components(tmp_path: Path) -> None:
    """Two mirrors make none; a part without a name takes that of what holds it."""
    corners = ' pid="2" p1="0" p2="1" p3="2"'
    objects = (
        _object(4, [corners], ' name="tile"')
        + _object(7, [corners])
        + f'<object id="5" name="pair"><components><component objectid="4" {MIRROR}/>'
        '<component objectid="7"/></components></object>'
    )
    item = '<item objectid="5" transform="-1 0 0 0 1 0 0 0 1 0 0 7"/>'
    found = read(tmp_path, "a.3mf", _3mf(objects, item))
    assert found.declared_unit == "cm"
    assert names(found) == ["tile", "pair"]
    assert found.mesh.face_normals[:, 2].tolist() == [1, 1]
    assert at_places(found) == {
        (0, 0, 7): RED, (1, 0, 7): GREEN, (0, 1, 7): BLUE, (-1, 0, 7): GREEN,
    }  # fmt: skip


def test_3mf_triangles_take_their_colour_or_that_of_the_object(tmp_path: Path) -> None:
    """Rows that differ in what they say; the second and third corner default to the first."""
    rows = ["", ' pid="2" p1="2"', ' p1="0"', ' pid="3" p1="0"']
    found = read(
        tmp_path, "a.3mf", _3mf(_object(4, rows, ' pid="1" pindex="1"'), '<item objectid="4"/>')
    )
    assert face_colours(found) == [[0, 255, 0, 128], BLUE, RED, WHITE]
    assert any("Textures" in note for note in found.notes)


def test_3mf_is_read_alike_quickly_and_element_by_element(tmp_path: Path) -> None:
    """A comment in the text turns the quick way off."""
    rows = [' pid="2" p1="2" p2="1" p3="0"', ' pid="1" p1="0" p2="0" p3="0"']
    objects = _object(4, rows, ' name="tile"') + _object(5, ["", ""])
    items = '<item objectid="4"/><item objectid="5"/>'
    quick = read(tmp_path, "a.3mf", _3mf(objects, items))
    slow = read(tmp_path, "a.3mf", _3mf(objects, items + "<!-- heron -->"))
    assert np.array_equal(quick.mesh.corners_mm, slow.mesh.corners_mm)
    assert names(quick) == names(slow) == ["tile", "tile", "", ""]
    assert np.array_equal(
        quick.dress.corner_colours(quick.mesh), slow.dress.corner_colours(slow.mesh)
    )


@pytest.mark.parametrize(
    ("objects", "words"),
    [
        (_object(4, [' pid="1" p1="2"']), "colour that group 1 does not have"),
        (_object(4, [""], ' pid="2" pindex="9"'), "colour that group 2 does not have"),
        (_object(4, [""]).replace('x="1"', 'x="one"'), '"one"'),
        (_object(4, [""]).replace('x="1"', 'q="1"'), "without its numbers"),
        (_object(4, [""]).replace('v2="1"', 'v2="7"'), "vertex that object 4"),
        (_object(4, [""]).replace(TILE, ""), "vertex that object 4"),
        (
            '<basematerials id="8"><base name="a" displaycolor="red"/></basematerials>'
            + _object(4, [""]),
            '"red" where a colour',
        ),
    ],
)
def test_a_bad_3mf_row_is_named(objects: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(MeshFileDamaged, match=words):
        read(tmp_path, "a.3mf", _3mf(objects, '<item objectid="4"/>'))


# Size


@pytest.mark.long
@pytest.mark.parametrize("kind", ["stl", "obj", "ply", "off", "glb", "3mf"])
def test_two_million_triangles_go_out_and_in(kind: str, tmp_path: Path) -> None:
    mesh = m.ball(rings=708)
    assert len(mesh.faces) > 2_000_000
    written = write_mesh(tmp_path / f"a.{kind}", mesh)
    found = read_mesh(tmp_path / f"a.{kind}")
    assert len(found.mesh.faces) == len(written.mesh.faces)
    assert is_closed(found.mesh)
