"""The box: what is put in comes out, laid out as told, and a damaged one is refused."""

from __future__ import annotations

import json
import struct
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstpull.core.mesh.mesh import Mesh
from firstpull.files.mesh_box import (
    BadBox,
    box_blocks,
    decode_box,
    mesh_arrays,
    mesh_of_box,
    read_box,
    read_head,
    write_box,
)

TETRAHEDRON = Mesh(
    [[0, 0, 0], [10, 0, 0], [0, 10, 0], [0, 0, 10]],
    [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]],
)


def packed(arrays, meta=None) -> bytes:
    return b"".join(box_blocks(arrays, meta))


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["f4", "u4", "i4", "u1"]),
            st.lists(st.integers(0, 5), min_size=1, max_size=3),
        ),
        max_size=5,
    ),
    st.dictionaries(st.text(max_size=8), st.integers() | st.text(max_size=8), max_size=3),
)
def test_arrays_and_meta_come_back_and_begin_at_multiples_of_4(kinds, meta) -> None:
    rng = np.random.default_rng(5)
    arrays = {
        f"a{n}": rng.integers(0, 250, size=shape).astype(kind)
        for n, (kind, shape) in enumerate(kinds)
    }
    data = packed(arrays, meta)
    back, told = decode_box(data)
    assert told == meta and list(back) == list(arrays)
    for name, array in arrays.items():
        assert back[name].dtype == array.dtype and np.array_equal(back[name], array)
    length = struct.unpack("<I", data[8:12])[0]
    head = json.loads(data[12 : 12 + length])
    assert (12 + length) % 4 == 0
    assert all(entry["offset"] % 4 == 0 for entry in head["arrays"].values())


def test_the_layout_is_as_told() -> None:
    """Read with nothing but struct and json, as a browser does."""
    data = packed({"mark": np.uint8([7]), "values": np.float32([1.5, np.nan])}, {"unit": "mm"})
    assert data[:8] == b"FPBOX001"
    length = struct.unpack("<I", data[8:12])[0]
    head = json.loads(data[12 : 12 + length])
    entry = head["arrays"]["values"]
    assert entry == {"dtype": "f4", "shape": [2], "offset": 4} and head["meta"] == {"unit": "mm"}
    first, second = struct.unpack_from("<2f", data, 12 + length + 4)
    assert first == 1.5 and np.isnan(second)


def test_a_contiguous_array_is_not_copied() -> None:
    values = np.zeros(1000, dtype=np.float32)
    blocks = [block for block in box_blocks({"values": values}) if isinstance(block, memoryview)]
    assert np.shares_memory(np.frombuffer(blocks[0], dtype=np.uint8), values)


def test_a_strided_array_is_written_in_its_own_order() -> None:
    values = np.arange(12, dtype=np.float32).reshape(3, 4).T[::2]
    assert np.array_equal(decode_box(packed({"values": values}))[0]["values"], values)


def test_a_mesh_comes_back_to_single_precision(tmp_path: Path) -> None:
    moved = Mesh(TETRAHEDRON.vertices_mm + 1 / 3, TETRAHEDRON.faces)
    size = write_box(tmp_path / "a.box", mesh_arrays(moved), {"title": "Master"})
    assert size == (tmp_path / "a.box").stat().st_size == read_head(tmp_path / "a.box").size_bytes
    arrays, meta = read_box(tmp_path / "a.box")
    back = mesh_of_box(arrays)
    assert np.array_equal(back.faces, moved.faces) and meta == {"title": "Master"}
    assert np.array_equal(back.vertices_mm, moved.vertices_mm.astype(np.float32))


def test_the_head_alone_says_where_each_array_lies(tmp_path: Path) -> None:
    write_box(tmp_path / "a.box", mesh_arrays(TETRAHEDRON))
    first, length = read_head(tmp_path / "a.box").span("indices")
    raw = (tmp_path / "a.box").read_bytes()[first : first + length]
    assert raw == TETRAHEDRON.faces.astype("<u4").tobytes()


def test_a_head_is_read_without_numpy(tmp_path: Path) -> None:
    write_box(tmp_path / "a.box", mesh_arrays(TETRAHEDRON))
    script = (
        "import sys; from firstpull.files.mesh_box import read_head;"
        f"print(read_head({str(tmp_path / 'a.box')!r}).arrays['positions']['shape']);"
        "print('numpy' in sys.modules)"
    )
    told = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert told.stdout.split("\n")[:2] == ["[4, 3]", "False"], told.stderr


def wrong_head(head: bytes) -> bytes:
    return struct.pack("<8sI", b"FPBOX001", len(head)) + head


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is no box"),
        (b"solid master", "is no box"),
        (packed({"values": np.zeros(9, np.float32)})[:-1], "cut short"),
        (packed({"values": np.zeros(9, np.float32)})[:40], "cut short"),
        (wrong_head(b"{}"), "cannot be read"),
        (wrong_head(b'{"arrays":{"a":{"dtype":"f8","shape":[],"offset":0}},"meta":{}}'), "be read"),
        (wrong_head(b'{"arrays":{"a":{"dtype":"u1","shape":[1],"offset":-4}},"meta":{}}'), "read"),
    ],
)
def test_a_damaged_box_is_refused(tmp_path: Path, data: bytes, words: str) -> None:
    with pytest.raises(BadBox, match=words):
        decode_box(data)
    (tmp_path / "a.box").write_bytes(data)
    with pytest.raises(BadBox, match=words):
        read_head(tmp_path / "a.box")


def test_a_missing_box_is_refused(tmp_path: Path) -> None:
    for read in (read_box, read_head):
        with pytest.raises(BadBox, match="cannot be read"):
            read(tmp_path / "none.box")
