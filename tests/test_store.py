"""The stage store gives back what it was given, or nothing; never something else."""

from __future__ import annotations

import os
import pickle
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from firstpull.core.errors import WorkshopError
from firstpull.core.estimate import Estimate
from firstpull.core.mesh.findings import Finding
from firstpull.core.mesh.mesh import Mesh
from firstpull.services.plan_types import PlanRequest
from firstpull.store.codec import ALIGN, MAGIC, Unreadable, decode, encode
from firstpull.store.disk import DiskStore
from firstpull.store.keys import sources_id, value_id
from firstpull.store.memory import MemoryStore

BOX = Mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], [[0, 2, 1], [0, 1, 3]])

numbers = st.one_of(
    hnp.integer_dtypes(endianness="?"),
    hnp.unsigned_integer_dtypes(endianness="?"),
    hnp.floating_dtypes(endianness="?", sizes=(16, 32, 64)),
    hnp.complex_number_dtypes(endianness="?", sizes=(64, 128)),
    hnp.boolean_dtypes(),
)
shapes = hnp.array_shapes(min_dims=0, max_dims=3, min_side=0, max_side=4)
arrays = numbers.flatmap(lambda kind: hnp.arrays(kind, shapes))
plain = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(), st.binary(max_size=50)
)
values = st.recursive(
    st.one_of(plain, arrays),
    lambda inner: st.one_of(
        st.lists(inner, max_size=4),
        st.lists(inner, max_size=4).map(tuple),
        st.dictionaries(st.one_of(st.text(), st.integers()), inner, max_size=4),
    ),
    max_leaves=12,
)


def same(a: object, b: object) -> bool:
    """Equal in type and content, NaN and the sign of zero included."""
    if isinstance(a, np.ndarray):
        assert isinstance(b, np.ndarray)
        native = a.astype(a.dtype.newbyteorder("<"))
        return native.dtype == b.dtype and a.shape == b.shape and native.tobytes() == b.tobytes()
    if type(a) is not type(b):
        return False
    if isinstance(a, list | tuple):
        return len(a) == len(b) and all(map(same, a, b))
    if isinstance(a, dict):
        return same(list(a.items()), list(b.items()))
    return repr(a) == repr(b)


@given(values)
@settings(max_examples=300, deadline=None)
def test_any_value_comes_back_the_same(value: object) -> None:
    assert same(value, decode(encode(value)))


def test_own_values_come_back_with_read_only_arrays() -> None:
    finding = Finding("hole", 2, "Two holes.", "Close them.", ("mould",), ((0.0, 1.0, 2.0),), 3.5)
    back = decode(encode({"mesh": BOX, "mass": Estimate.exact(2.0), "found": [finding]}))
    assert back["found"] == [finding]
    assert back["mass"].p50 == 2.0
    assert type(back["mesh"]) is Mesh
    assert np.array_equal(back["mesh"].vertices_mm, BOX.vertices_mm)
    assert np.array_equal(back["mesh"].faces, BOX.faces)
    with pytest.raises(ValueError, match="read-only"):
        back["mesh"].faces[0, 0] = 1


def test_arrays_lie_raw_and_aligned_and_once() -> None:
    array = np.arange(1000, dtype=np.float64)
    data = encode((array, array, True))
    at = data.index(array.tobytes())
    assert at % ALIGN == 0
    assert len(data) < at + array.nbytes + ALIGN
    assert data.startswith(MAGIC)


@dataclass(frozen=True)
class Foreign:
    """A dataclass of somebody else's."""

    size_mm: float


@pytest.mark.parametrize(
    "value",
    [
        Foreign(1.0),
        {1, 2},
        Path("x"),
        len,
        np.array(["text"]),
        np.array([None]),
        PlanRequest(Path("x")),
    ],
)
def test_what_cannot_be_kept_is_refused_by_type(value: object) -> None:
    with pytest.raises(TypeError, match="cannot be kept"):
        encode(value)


def test_only_the_packages_own_dataclasses_are_made() -> None:
    """A container that names another class makes nothing, and a pickle is not a container."""
    crafted = encode({"own": 1})
    for name in ("subprocess:Popen", "firstpull.core.errors:WorkshopError", "firstpull:nothing"):
        tree = f'{{"tree":{{"own":["{name}",{{}}]}},"arrays":[]}}'.encode()
        with pytest.raises(Unreadable):
            decode(_container(tree))
    assert decode(crafted) == {"own": 1}
    with pytest.raises(Unreadable):
        decode(pickle.dumps(BOX))


def _container(header: bytes) -> bytes:
    import zlib

    from firstpull.store.codec import HEAD

    header = header.ljust(len(header) + -(len(header) + HEAD.size) % ALIGN)
    return HEAD.pack(MAGIC, zlib.crc32(header, len(header)), len(header)) + header


def test_a_damaged_entry_is_a_miss_wherever_the_damage_is(tmp_path: Path) -> None:
    store = DiskStore(tmp_path)
    store.put("ab12", {"mesh": BOX, "mm": 2.5})
    (path,) = tmp_path.rglob("*.fpv")
    whole = path.read_bytes()
    for cut in range(len(whole)):
        path.write_bytes(whole[:cut])
        assert store.get("ab12") is None, f"cut to {cut} bytes"
    for at in range(len(whole)):
        path.write_bytes(whole[:at] + bytes([whole[at] ^ 0x10]) + whole[at + 1 :])
        assert store.get("ab12") is None, f"byte {at} altered"
    assert not path.exists()
    store.put("ab12", 3)
    assert store.get("ab12") == (3,)


def test_a_kept_none_is_told_from_a_miss(tmp_path: Path) -> None:
    for store in (DiskStore(tmp_path), MemoryStore()):
        assert store.get("ab12") is None
        store.put("ab12", None)
        assert store.get("ab12") == (None,)


def test_the_least_recently_used_go_first(tmp_path: Path) -> None:
    size = len(encode(np.zeros(1000)))
    store = DiskStore(tmp_path, cap_bytes=3 * size)
    for age, key in enumerate(["aa", "bb", "cc"]):
        store.put(key, np.zeros(1000))
        os.utime(tmp_path / key / f"{key}.fpv", (age, age))
    assert store.get("aa") is not None  # used now, so "bb" is the oldest
    store.put("dd", np.zeros(1000))
    assert [key for key in ("aa", "bb", "cc", "dd") if store.get(key)] == ["aa", "cc", "dd"]
    store.put("ee", np.zeros(4000))  # alone larger than the cap: not kept, nothing dropped
    assert store.get("ee") is None and store.get("aa") is not None


def test_a_store_that_cannot_be_written_keeps_nothing_and_says_nothing(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    store = DiskStore(tmp_path / "file" / "store")
    store.put("ab12", BOX)
    assert store.get("ab12") is None


def test_no_unfinished_file_is_left(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(self: Path, target: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    DiskStore(tmp_path).put("ab12", BOX)
    assert [p for p in tmp_path.rglob("*") if p.is_file()] == []


def test_ids_follow_content() -> None:
    assert value_id(BOX) == value_id(Mesh(BOX.vertices_mm.copy(), BOX.faces.copy()))
    assert value_id(BOX) != value_id(BOX.flipped())
    assert len({value_id(v) for v in (1, 1.0, True, "1", (1,), [1], np.int32(1), None)}) == 8


def test_the_sources_hash_sees_names_and_contents_but_no_compiled_files(tmp_path: Path) -> None:
    (tmp_path / "a.py").write_text("x = 1")
    first = sources_id(tmp_path)
    (tmp_path / "__pycache__").mkdir()
    (tmp_path / "__pycache__" / "a.pyc").write_bytes(b"compiled")
    assert sources_id(tmp_path) == first
    (tmp_path / "a.py").write_text("x = 2")
    changed = sources_id(tmp_path)
    (tmp_path / "a.py").rename(tmp_path / "b.py")
    assert len({first, changed, sources_id(tmp_path)}) == 3


def test_the_program_id_is_the_same_all_day() -> None:
    assert DiskStore(Path("unused")).program_id() == DiskStore(Path("other")).program_id()


def test_refusals_are_not_values() -> None:
    with pytest.raises(TypeError):
        encode(WorkshopError(where="Wall", found="is thin"))
