"""What is written is read back: vertices, faces in order, names, colours, unit."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

import menagerie as m
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mesh.refusals import NoTriangles, UnknownUnit
from firstpull.core.mesh.topology import components, is_closed
from firstpull.files.dress import Dress, dress_near, from_shares, linear_of, srgb_of
from firstpull.files.read_mesh import MeshFile, read_mesh
from firstpull.files.refusals import MeshFileNotWritten, MeshFormatUnknown
from firstpull.files.write_mesh import UNITS_MM, Written, write_mesh

trimesh = pytest.importorskip("trimesh")

FORMATS = ("stl", "obj", "ply", "off", "glb", "3mf")
EXACT = ("obj", "ply", "off", "3mf")
NAMED = ("obj", "ply", "glb", "3mf")
COLOURED = ("ply", "off", "glb", "3mf")
RED, BLUE, CLEAR = (200, 30, 40, 255), (10, 20, 250, 255), (7, 130, 90, 120)


def two_bodies() -> tuple[Mesh, Dress]:
    """A beak and a crest that do not touch, each of one colour."""
    beak, crest = m.box(), m.ball(rings=6, at=(0, 0, 200))
    part = np.repeat([0, 1], [len(beak.faces), len(crest.faces)])
    colours = np.array([RED, CLEAR])[part]
    return joined([beak, crest]), Dress(["beak", "crest of the heron"], part, face_colours=colours)


def painted() -> tuple[Mesh, Dress]:
    """One closed body, its parts and colours changing from face to face."""
    mesh = m.ball(rings=8)
    part = np.arange(len(mesh.faces)) // 7 % 3
    colours = np.array([RED, BLUE, CLEAR])[np.arange(len(mesh.faces)) % 3]
    return mesh, Dress(["left", "right & <both>", "eye"], part, face_colours=colours)


def shaded() -> tuple[Mesh, Dress]:
    """One body with a colour of its own at each vertex."""
    mesh = m.ball(rings=10)
    rng = np.random.default_rng(11)
    colours = rng.integers(0, 256, (len(mesh.vertices_mm), 4))
    return mesh, Dress(["mask"], np.zeros(len(mesh.faces)), vertex_colours=colours)


CASES = {"two bodies": two_bodies, "painted": painted, "shaded": shaded}


def back(
    folder: Path, kind: str, mesh: Mesh, dress: Dress | None = None, unit: str = "mm"
) -> tuple[Written, MeshFile]:
    path = folder / f"part.{kind}"
    return write_mesh(path, mesh, dress=dress, unit=unit), read_mesh(path)


def rows(corners: np.ndarray, *more: np.ndarray) -> np.ndarray:
    """One row for each face that says all of it, sorted, whatever corner it begins with."""
    table = np.concatenate([corners, *more], axis=2).reshape(len(corners), 3, -1)
    first = np.lexsort(np.moveaxis(table, 2, 0)[::-1], axis=1)[:, 0]
    turned = table[np.arange(len(table))[:, None], (first[:, None] + np.arange(3)) % 3]
    flat = turned.reshape(len(table), -1)
    return flat[np.lexsort(flat.T[::-1])]


def worn(mesh: Mesh, dress: Dress | None) -> tuple[list[str], np.ndarray | None]:
    """The name of each face, and the colours of its corners."""
    if dress is None:
        return [""] * len(mesh.faces), None
    return [dress.names[k] for k in dress.part], dress.corner_colours(mesh)


@pytest.mark.parametrize("kind", EXACT)
@pytest.mark.parametrize("case", CASES)
def test_every_digit_and_the_order_of_faces_come_back(kind: str, case: str, tmp_path: Path) -> None:
    mesh, dress = CASES[case]()
    _, found = back(tmp_path, kind, mesh, dress)
    assert found.declared_unit == "mm"
    assert np.array_equal(found.mesh.vertices_mm, mesh.vertices_mm)
    assert np.array_equal(found.mesh.faces, mesh.faces)


@pytest.mark.parametrize("kind", ["stl", "glb"])
@pytest.mark.parametrize("case", CASES)
def test_rounded_formats_come_back_as_told(kind: str, case: str, tmp_path: Path) -> None:
    """Single precision keeps 2^-24 of a coordinate; faces stay closed and in their order,
    but for parts that change to and fro, which GLB gathers by name."""
    mesh, dress = CASES[case]()
    told, found = back(tmp_path, kind, mesh, dress)
    scale = {"m": 1000.0, None: 1.0}[found.declared_unit]
    corners = found.mesh.corners_mm * scale
    assert is_closed(found.mesh)
    assert np.abs(told.mesh.corners_mm - mesh.corners_mm).max() <= 260 * 2.0**-24
    if kind == "stl" or case != "painted":
        assert np.allclose(corners, told.mesh.corners_mm, rtol=1e-15, atol=1e-13)
    else:
        assert np.allclose(rows(corners), rows(told.mesh.corners_mm), rtol=1e-15, atol=1e-13)


@pytest.mark.parametrize("kind", NAMED)
@pytest.mark.parametrize("case", CASES)
def test_names_come_back_face_by_face(kind: str, case: str, tmp_path: Path) -> None:
    mesh, dress = CASES[case]()
    told, found = back(tmp_path, kind, mesh, dress)
    assert told.left_out == () or kind == "obj"
    names, _ = worn(found.mesh, found.dress)
    if kind != "glb":
        assert names == worn(mesh, dress)[0]
        return
    for name in dress.names:
        ours = mesh.faces[np.array(worn(mesh, dress)[0]) == name]
        theirs = found.mesh.faces[np.array(names) == name]
        one, other = mesh.vertices_mm[ours], 1000.0 * found.mesh.vertices_mm[theirs]
        assert np.abs(one - other).max() <= 260 * 2.0**-24


@pytest.mark.parametrize("kind", COLOURED)
@pytest.mark.parametrize("case", CASES)
def test_colours_come_back_corner_by_corner(kind: str, case: str, tmp_path: Path) -> None:
    mesh, dress = CASES[case]()
    _, found = back(tmp_path, kind, mesh, dress)
    _, ours = worn(mesh, dress)
    _, theirs = worn(found.mesh, found.dress)
    assert ours is not None and theirs is not None
    if kind == "glb":
        exact = mesh.corners_mm.astype(np.float32).astype(np.float64)
        scaled = (1000.0 * found.mesh.corners_mm).astype(np.float32).astype(np.float64)
        assert np.array_equal(rows(exact, ours), rows(scaled, theirs))
    else:
        assert np.array_equal(ours, theirs)


def test_obj_keeps_colours_at_vertices_and_says_what_it_leaves_out(tmp_path: Path) -> None:
    mesh, dress = shaded()
    told, found = back(tmp_path, "obj", mesh, dress)
    assert found.dress is not None and found.dress.vertex_colours is not None
    assert np.array_equal(found.dress.vertex_colours[:, :3], dress.vertex_colours[:, :3])
    assert "opacity" in told.left_out[0]
    mesh, dress = painted()
    told, found = back(tmp_path, "obj", mesh, dress)
    assert "colours of faces" in told.left_out[0]
    assert found.dress is not None and found.dress.corner_colours(found.mesh) is None
    mesh, dress = two_bodies()
    found = back(tmp_path, "obj", mesh, dress)[1]
    ours, theirs = dress.corner_colours(mesh), worn(found.mesh, found.dress)[1]
    assert np.array_equal(ours[..., :3], theirs[..., :3])


def test_what_stl_and_off_leave_out_is_said(tmp_path: Path) -> None:
    mesh, dress = two_bodies()
    told, found = back(tmp_path, "stl", mesh, dress)
    assert len(told.left_out) == 2
    assert found.dress is not None and found.dress.names == ("beak, crest of the heron",)
    told, _ = back(tmp_path, "off", mesh, dress)
    assert "names" in told.left_out[0]
    assert back(tmp_path, "off", mesh)[0].left_out == ()


@pytest.mark.parametrize("kind", FORMATS)
def test_without_a_dress_nothing_is_made_up(kind: str, tmp_path: Path) -> None:
    _, found = back(tmp_path, kind, m.dome())
    assert found.dress is None
    assert found.notes == ()


@pytest.mark.parametrize("unit", UNITS_MM)
@pytest.mark.parametrize("kind", FORMATS)
def test_the_unit_is_declared_and_the_size_kept(kind: str, unit: str, tmp_path: Path) -> None:
    _, found = back(tmp_path, kind, m.ball(), unit=unit)
    declared = {"stl": None, "glb": "m"}.get(kind, unit)
    assert found.declared_unit == declared
    size_mm = found.mesh.bounds_mm * UNITS_MM["m" if kind == "glb" else unit]
    assert size_mm == pytest.approx(m.ball().bounds_mm, abs=60 * 2.0**-23)
    assert is_closed(found.mesh)


@pytest.mark.parametrize("kind", FORMATS)
def test_the_same_mesh_gives_the_same_bytes(kind: str, tmp_path: Path) -> None:
    mesh, dress = two_bodies()
    for name in ("a", "b"):
        write_mesh(tmp_path / name, mesh, format=kind, dress=dress)
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()


# Other readers


@pytest.mark.parametrize("kind", FORMATS)
def test_trimesh_reads_what_is_written(kind: str, tmp_path: Path) -> None:
    """Reader: trimesh 5, an independent implementation of all six formats."""
    mesh, dress = two_bodies()
    path = tmp_path / f"a.{kind}"
    write_mesh(path, mesh, dress=dress)
    scene = trimesh.load_scene(path)
    whole = scene.to_geometry()
    scale = 1000.0 if kind == "glb" else 1.0
    assert scale * np.array(whole.bounds) == pytest.approx(mesh.bounds_mm, abs=260 * 2.0**-22)
    assert len(whole.faces) == len(mesh.faces)
    assert abs(whole.volume) * scale**3 == pytest.approx(mesh.volume_mm3, rel=1e-5)
    if kind in ("glb", "3mf"):
        assert len(scene.geometry) == 2
        assert {"beak", "crest of the heron"} <= {*scene.geometry, *scene.graph.nodes}


def test_trimesh_finds_the_same_colours(tmp_path: Path) -> None:
    """Reader: trimesh. It leaves the colours of a GLB linear, as the file has them."""
    mesh, dress = shaded()
    write_mesh(tmp_path / "a.ply", mesh, dress=dress)
    theirs = trimesh.load_mesh(tmp_path / "a.ply", process=False).visual.vertex_colors
    assert np.array_equal(theirs, dress.vertex_colours)
    write_mesh(tmp_path / "a.glb", mesh, dress=dress)
    (part,) = trimesh.load_scene(tmp_path / "a.glb", process=False).geometry.values()
    linear = np.array(dress.vertex_colours) / 255.0
    linear[:, :3] = linear_of(linear[:, :3])
    theirs = part.visual.vertex_attributes["color"]
    assert np.abs(theirs / 65535 - linear).max() <= 0.5 / 65535 + 1e-12


def test_trimesh_and_this_reader_agree_on_what_trimesh_paints(tmp_path: Path) -> None:
    """Writer: trimesh, colours at the faces (PLY) and at the vertices (PLY, OBJ)."""
    mesh, dress = shaded()
    other = trimesh.Trimesh(np.array(mesh.vertices_mm), np.array(mesh.faces), process=False)
    other.visual.vertex_colors = np.array(dress.vertex_colours)
    for kind in ("ply", "obj"):
        other.export(tmp_path / f"v.{kind}")
        found = read_mesh(tmp_path / f"v.{kind}").dress
        assert found is not None and found.vertex_colours is not None
        n = 4 if kind == "ply" else 3
        assert np.array_equal(found.vertex_colours[:, :n], dress.vertex_colours[:, :n])
    mesh, dress = painted()
    other = trimesh.Trimesh(np.array(mesh.vertices_mm), np.array(mesh.faces), process=False)
    other.visual.face_colors = np.array(dress.face_colours)
    other.export(tmp_path / "f.ply")
    found = read_mesh(tmp_path / "f.ply").dress
    assert found is not None
    assert np.array_equal(found.face_colours, dress.face_colours)


def test_glb_obeys_the_standard(tmp_path: Path) -> None:
    """glTF 2.0: 5.1.1 bounds of positions, 3.6.2.4 alignment, 4.4.2 the length of chunks."""
    mesh, dress = painted()
    path = tmp_path / "a.glb"
    write_mesh(path, mesh, dress=dress)
    data = path.read_bytes()
    word = lambda at: int.from_bytes(data[at : at + 4], "little")  # noqa: E731
    assert (data[:4], word(4), word(8)) == (b"glTF", 2, len(data))
    size = word(12)
    assert size % 4 == 0 and data[16:20] == b"JSON"
    gltf = json.loads(data[20 : 20 + size])
    binary = data[28 + size :]
    assert data[24 + size : 28 + size] == b"BIN\0" and word(20 + size) == len(binary)
    assert gltf["buffers"][0]["byteLength"] == len(binary)
    for accessor in gltf["accessors"]:
        view = gltf["bufferViews"][accessor["bufferView"]]
        kind = {5126: "<f4", 5125: "<u4", 5123: "<u2"}[accessor["componentType"]]
        width = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}[accessor["type"]]
        assert view["byteOffset"] % 4 == 0
        assert view["byteLength"] == accessor["count"] * width * np.dtype(kind).itemsize
        values = np.frombuffer(binary, kind, accessor["count"] * width, view["byteOffset"])
        if "min" in accessor:
            table = values.reshape(-1, width)
            assert table.min(axis=0).tolist() == np.float32(accessor["min"]).tolist()
            assert table.max(axis=0).tolist() == np.float32(accessor["max"]).tolist()
    assert any(material.get("alphaMode") == "BLEND" for material in gltf["materials"])


def test_3mf_keeps_one_painted_body_whole_and_marks_open_ones(tmp_path: Path) -> None:
    """A model object must be closed (3MF core specification, 4.1); a surface need not be."""
    mesh, dress = painted()
    both = joined([mesh, m.dome().moved(np.diag([1, 1, 1, 1.0]))])
    part = np.concatenate([dress.part, np.full(len(m.dome().faces), 3)])
    path = tmp_path / "a.3mf"
    write_mesh(path, both, dress=Dress([*dress.names, "dome"], part))
    with zipfile.ZipFile(path) as archive:
        assert archive.testzip() is None
        assert {info.date_time for info in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        text = archive.read("3D/3dmodel.model").decode()
    assert text.count('type="model"') == 1 and text.count('type="surface"') == 1
    assert text.count("<t:triangleset ") == 3
    found = read_mesh(path)
    assert len(np.unique(components(found.mesh))) == 2
    assert found.dress is not None
    assert set(found.dress.names) == {"left", "right & <both>", "eye", "dome"}


# Laws


coordinates = arrays(
    np.float64,
    (7, 3),
    elements=st.floats(-1e4, 1e4, allow_nan=False).map(lambda x: x + 0.0),
)
triples = arrays(np.int32, st.tuples(st.integers(1, 9), st.just(3)), elements=st.integers(0, 6))


@settings(max_examples=60, deadline=None)
@given(points=coordinates, faces=triples, data=st.data(), kind=st.sampled_from(EXACT))
def test_any_mesh_comes_back_exactly(
    points: np.ndarray, faces: np.ndarray, data: st.DataObject, kind: str, tmp_path_factory: object
) -> None:
    """Whatever the numbers, the order and the colours; only vertices without faces are lost."""
    n = len(faces)
    points = points + np.arange(21).reshape(7, 3) ** 2  # never all in one line
    faces = np.concatenate([faces, [[0, 1, 2]]])
    if kind == "3mf":
        faces = faces[(faces != np.roll(faces, 1, axis=1)).all(axis=1)]
        n = len(faces) - 1
    mesh = Mesh(points, faces)
    if mesh.area_mm2 < 1e-3:
        return
    part = data.draw(arrays(np.int32, n + 1, elements=st.integers(0, 2)))
    names = ["a", "", "ö ü"]
    colours = data.draw(arrays(np.uint8, (n + 1, 4)))
    at_faces = data.draw(st.booleans())
    if at_faces:
        dress = Dress(names, part, face_colours=colours)
    else:
        row = np.resize(colours, (7, 4))
        dress = Dress(names, part, vertex_colours=row)
    folder = tmp_path_factory.mktemp("any")  # type: ignore[attr-defined]
    _, found = back(folder, kind, mesh, dress)
    assert np.array_equal(found.mesh.corners_mm, mesh.corners_mm) or kind == "3mf"
    ours, theirs = dress.corner_colours(mesh), worn(found.mesh, found.dress)[1]
    if kind == "3mf":  # bodies come one after the other
        assert np.array_equal(rows(found.mesh.corners_mm, theirs), rows(mesh.corners_mm, ours))
    elif kind != "obj":
        assert np.array_equal(theirs, ours)
    if kind in ("ply", "obj"):
        assert worn(found.mesh, found.dress)[0] == worn(mesh, dress)[0]


def test_light_and_back_keeps_every_shade() -> None:
    """16 bits of light hold all 256 steps of sRGB; source of the curve: IEC 61966-2-1."""
    shades = np.arange(256) / 255.0
    kept = np.rint(65535 * linear_of(shades)) / 65535
    assert from_shares(np.stack([srgb_of(kept)] * 3, axis=1))[:, 0].tolist() == list(range(256))


def test_a_rounded_mesh_with_fewer_faces_is_dressed_by_nearness() -> None:
    mesh, dress = two_bodies()
    fewer = mesh.with_faces(np.arange(0, len(mesh.faces), 2))
    near = dress_near(dress, mesh, fewer)
    assert np.array_equal(near.part, dress.part[::2])
    assert np.array_equal(near.face_colours, dress.face_colours[::2])


# Refusals


def test_a_wrong_suffix_unit_or_mesh_is_refused(tmp_path: Path) -> None:
    with pytest.raises(MeshFormatUnknown, match=r'"step".*stl, obj, ply, off, glb, 3mf'):
        write_mesh(tmp_path / "a.step", m.box())
    with pytest.raises(MeshFormatUnknown, match="no suffix"):
        write_mesh(tmp_path / "mask", m.box())
    with pytest.raises(UnknownUnit, match=r'"ell".*mm, cm, in, m'):
        write_mesh(tmp_path / "a.obj", m.box(), unit="ell")
    with pytest.raises(NoTriangles, match=r"a\.obj"):
        write_mesh(tmp_path / "a.obj", Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=int)))
    assert not list(tmp_path.iterdir())


def test_a_folder_that_does_not_take_the_file_is_refused(tmp_path: Path) -> None:
    with pytest.raises(MeshFileNotWritten, match="No such file or directory"):
        write_mesh(tmp_path / "gone" / "a.stl", m.box())
    (tmp_path / "b.stl").mkdir()
    with pytest.raises(MeshFileNotWritten, match="Is a folder"):
        write_mesh(tmp_path / "b.stl", m.box())
    (tmp_path / "file").write_text("x")
    with pytest.raises(MeshFileNotWritten, match="Not a directory"):
        write_mesh(tmp_path / "file" / "a.stl", m.box())


@pytest.mark.parametrize("kind", FORMATS)
def test_an_older_file_stays_when_writing_fails(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / f"a.{kind}"
    path.write_bytes(b"older")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(MeshFileNotWritten, match="No space left"):
        write_mesh(path, m.box())
    assert path.read_bytes() == b"older"
    assert list(tmp_path.iterdir()) == [path]
