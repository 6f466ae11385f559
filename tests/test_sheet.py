"""The job sheet: defaults, refusals with line and field, what counts as assumed."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from firstpull.core.errors import WorkshopError
from firstpull.core.material.row import find_material
from firstpull.core.sheet import JobSheet, describe_fields, describe_list_fields
from firstpull.core.sheet_check import BadSheet, with_answers
from firstpull.core.sheet_guide import sheet_guide
from firstpull.services.read_sheet import MOST_BYTES, UnreadableSheet, read_sheet, sheet_from_text

DOCS = Path(__file__).parent.parent / "docs"


def test_every_default_is_within_its_own_range() -> None:
    """A sheet that writes out all its defaults is accepted and equal to an empty one."""
    written = JobSheet().model_dump()
    sheet, given_fields = sheet_from_text(yaml.safe_dump(written))
    assert sheet == JobSheet()
    without_value = {e.name for e in describe_fields() if e.default is None}
    assert given_fields == {e.name for e in describe_fields()} - without_value


@pytest.mark.parametrize("text", ["", "# nothing\n", "---\n", "~", "skin:\n", "skin: {material: }"])
def test_an_empty_sheet_takes_every_default_and_gives_nothing(text: str) -> None:
    assert sheet_from_text(text) == (JobSheet(), set())


def test_what_is_given_is_kept_and_the_rest_is_assumed(tmp_path: Path) -> None:
    path = tmp_path / "heron.yaml"
    text = "job:\n  name: Heron\nskin:\n  thickness_mm: 8\nshell: {kind: printed}\ngrid_mm: 2\n"
    path.write_text(text)
    sheet, given_fields = read_sheet(path)
    assert given_fields == {"job.name", "skin.thickness_mm", "shell.kind", "grid_mm"}
    assumed = {entry["field"]: entry for entry in sheet.assumed(given_fields)}
    assert set(assumed) == {entry.name for entry in describe_fields()} - given_fields
    assert assumed["shell.draft_deg"]["value"] == 2
    assert assumed["shell.thickness_mm"]["value"] == 5
    assert assumed["cast.powder_ratio"]["value"] == 0
    assert assumed["shell.clearance_mm"] == {
        "field": "shell.clearance_mm",
        "value": 1.5,
        "unit": "mm",
        "why": "a release film where laid, a bedding coat where printed",
    }
    assert assumed["master.up"]["value"] == "found from the hollow"


def test_a_laid_shell_is_plaster_with_3_degrees_and_a_printed_one_plastic_with_2() -> None:
    """Shop practice: 3 degrees laid by hand, 2 printed; 1-2 mm for a bedding coat."""
    laid, printed = sheet_from_text("")[0].shell, sheet_from_text("shell: {kind: printed}")[0].shell
    assert (laid.material_used, laid.draft_used_deg) == ("plaster-bandage", 3)
    assert (printed.material_used, printed.draft_used_deg) == ("printed-plastic", 2)
    assert 1 <= printed.clearance_used_mm <= 2 and laid.clearance_used_mm == 0.3


BAD_FIELDS = [
    ("skin:\n  thickness_mm: 40", 2, "skin.thickness_mm is 40 mm; it may be 3 to 15 mm"),
    ("skin:\n\n\n  thickness_mm: 1\n", 4, "3 to 15 mm"),
    ("job:\n  good_castings: 0", 2, "a whole number from 1 to 500"),
    ("job:\n  good_castings: 2.5", 2, "is 2.5"),
    ("shop: {temperature_c: warm}", 1, "plain number"),
    ("shop:\n  temperature_c: 19,5", 2, "with a point"),
    ("shop: {temperature_c: true}", 1, "is yes"),
    ("shop: {temperature_c: .nan}", 1, "is nan"),
    ("shop: {temperature_c: .inf}", 1, "is inf"),
    ("master: {up: [0, 0, 0]}", 1, "not all 0"),
    ("master: {up: [0, 1]}", 1, "three numbers"),
    ("master: {up: [0, a, 0]}", 1, "three numbers"),
    ("master: {unit: inch}", 1, "mm, cm, in, m"),
    ("cast:\n  resin: copper", 2, "urethane-fast"),
    ("skin: {material: 3}", 1, "quotes"),
    ("job: {name: 2026-01-01}", 1, "quotes"),
    ("job: {name: 2026-99-99}", 1, "cannot be read"),
    ("job: {part_name: ../up}", 1, "letters, digits"),
    ("job: {name: {first: x}}", 1, "group"),
    ("cast:\n  wall_mm: 1\n  face_coat_mm: 2", 1, "face coat of 2 mm in a wall of 1 mm"),
    ("shell: {kind: printed, material: plaster-bandage}", 1, "made of plaster-bandage"),
    ("skin: 3", 1, "not a group"),
    ("cast: {powder_ratio: 0}", 1, "above 0, up to 10"),
    ("skin: {thickness_mm: " + "9" * 5000 + "}", 1, "cannot be read"),
    ("skin: {thickness_mm: 3}\nskin: {thickness_mm: 4}", 2, "line 1 already"),
    ("skin:\n  thicknes_mm: 6", 2, 'Did you mean "skin.thickness_mm"?'),
    ("board: {}\nhumidity_pct: 40", 2, 'Did you mean "shop.humidity_pct"?'),
    ("shel: {pieces: 2}", 1, 'Did you mean "shell"?'),
    ("weather: fair", 1, "it knows board, cast"),
    ("skin: {colour: }", 1, "skin.colour"),
    ("<<: {grid_mm: 2}", 1, '"<<"'),
    ("master: {up: [1.7e+308, 1.7e+308, 1.7e+308]}", 1, "three numbers"),
    ("shop:\n  build_box_mm: [220, 220, 20]", 2, "three lengths of 80 to 3000 mm"),
    ("shop: {build_box_mm: [220, 220]}", 1, "three lengths"),
    ("shop: {printer_cm3_h: 0}", 1, "1 to 500 cm³/h"),
    ("shell: {piece_worth_pct: 95}", 1, "is 95 %; it may be 0 to 90 %"),
    ("shell: {symmetric: 1}", 1, "shell.symmetric is 1; it may be yes or no"),
    ("shell: {walls: 3}", 1, "up to 3 walls"),
]
WALL = "{through: [0, 0, 9], facing: [1, 0, 0]}"
BAD_STEERING = [
    (f"walls: [{', '.join([WALL] * 4)}]", "shell.walls holds 4; it may be up to 3 walls"),
    (
        f"walls: [{WALL}, {{through: [0, 0, 9], facing: [0, 0, 0]}}]",
        "shell.walls, number 2, facing is [0, 0, 0]; it may be three numbers, not all 0",
    ),
    ("walls: [{through: [0, 0], facing: [1, 0, 0]}]", "number 1, through is [0, 0]; it may be"),
    ("walls: [{through: [0, 0, 9]}]", "number 1 has only through; a wall is either a plane"),
    ("walls: [{}]", "number 1 has neither plane nor line"),
    (
        "walls: [{facing: [1, 0, 0], line: [[0, 0, 0], [1, 0, 0], [2, 0, 0]]}]",
        "number 1 has both a line and a plane",
    ),
    ("walls: [{line: [[0, 0, 0], [9, 0, 0]]}]", "number 1, line holds 2; it may be 3 to 500"),
    ("walls: [{line: [[0, 0, 0], [9, 0], [9, 9, 0]]}]", "number 1, line is [9, 0]"),
    ("walls: [{trough: [0, 0, 0]}]", "number 1, trough is not known there; it may hold through"),
    ("walls: [right]", 'shell.walls is "right"; it may be up to 3 walls'),
    ("pulls: [[1, 0, 1], [0, 0, 0]]", "is [0, 0, 0]; it may be up to 4 directions"),
    ("{pieces: 3, pulls: [[1, 0, 1], [-1, 0, 1]]}", "has 2 pulls for pieces: 3"),
    (f"{{pieces: 1, walls: [{WALL}]}}", "has 1 wall for pieces: 1"),
    (f"{{pulls: [[0, 0, 1]], walls: [{WALL}]}}", "has 1 wall for pieces: 1"),
    ("keep_whole: [{radius_mm: 9}]", "number 1, at is missing; it may be three numbers"),
    ("keep_whole: [{at: [0, 0, 0], radius_mm: 0}]", "radius_mm is 0 mm; it may be 0.5 to 200 mm"),
]


@pytest.mark.parametrize(("text", "line", "words"), BAD_FIELDS)
def test_a_bad_field_is_refused_with_line_field_and_range(
    text: str, line: int, words: str, tmp_path: Path
) -> None:
    path = tmp_path / "heron.yaml"
    path.write_text(text)
    with pytest.raises(BadSheet) as refusal:
        read_sheet(path)
    sentence = str(refusal.value)
    assert f'Line {line} of "heron.yaml"' in sentence and words in sentence
    assert len(sentence) < 400 and "\n" not in sentence


@pytest.mark.parametrize(("text", "words"), BAD_STEERING)
def test_bad_steering_is_refused_with_its_place_in_the_list(text: str, words: str) -> None:
    with pytest.raises(BadSheet) as refusal:
        sheet_from_text("shell: " + (text if text[0] == "{" else f"{{{text}}}"), name="heron.yaml")
    sentence = str(refusal.value)
    assert words in sentence and sentence.startswith('Line 1 of "heron.yaml": shell')
    assert len(sentence) < 400 and "\n" not in sentence


def test_steering_is_read_as_written_and_said_again() -> None:
    """Lists within lists are read; a sheet that goes through answers beside it stays whole."""
    text = f"""shell:
  walls:
    - {WALL}
    - line: [[0, 0, 0], [0, 5, 2.5], [0, 9, 0]]
  keep_whole: [{{at: [1, 2, 3]}}]
  symmetric: yes
shop: {{build_box_mm: [220, 220, 250]}}
"""
    sheet, given_fields = sheet_from_text(text)
    assert given_fields == {
        "shell.walls", "shell.keep_whole", "shell.symmetric", "shop.build_box_mm"
    }  # fmt: skip
    walls, dabs = sheet.shell.walls, sheet.shell.keep_whole
    assert walls and walls[0].facing == [1, 0, 0] and walls[1].line == [[0, 0, 0], [0, 5, 2.5],
                                                                       [0, 9, 0]]  # fmt: skip
    assert dabs and (dabs[0].at, dabs[0].radius_mm) == ([1, 2, 3], 10)
    assert with_answers(sheet, {"grid_mm": 1.5}, place=str) == sheet
    assumed = {entry["field"]: entry["value"] for entry in sheet.assumed(given_fields)}
    assert assumed["shell.pulls"] == "found by the search"


BOMB = "a: &a [x, x]\nb: &b [*a, *a]\nc: [*b, *b]\n"
NOT_SHEETS = [
    (b"a: [1", "not YAML near line 1"),
    (b"skin:\n\tthickness_mm: 3", "not YAML near line 2"),
    (b"a: 1\n---\nb: 2", "not YAML"),
    (BOMB.encode(), "shares values"),
    (b"skin: !!python/object/apply:os.system [ls]", "tag"),
    (b"[" * 20000, "nests groups too deep"),
    (b"just words", "holds no fields"),
    (b"- 1\n- 2", "holds no fields"),
    (b"? [1, 2]\n: 3", "without a name"),
    (b"x\x00y", "not plain text"),
    (b"solid\n\xff\xfe\x80", "not plain text: line 2"),
    (b"a: 1\n" * MOST_BYTES, "larger than 64 kB"),
]


@pytest.mark.parametrize(("raw", "words"), NOT_SHEETS, ids=[words for _, words in NOT_SHEETS])
def test_a_file_that_is_no_sheet_is_refused_kindly(raw: bytes, words: str, tmp_path: Path) -> None:
    path = tmp_path / "heron.yaml"
    path.write_bytes(raw)
    with pytest.raises(UnreadableSheet) as refusal:
        read_sheet(path)
    assert 'Job sheet "heron.yaml"' in str(refusal.value) and words in str(refusal.value)


def test_a_missing_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    for path in (tmp_path / "none.yaml", tmp_path):
        with pytest.raises(UnreadableSheet, match="cannot be opened"):
            read_sheet(path)


def test_a_byte_order_mark_is_read_over(tmp_path: Path) -> None:
    path = tmp_path / "heron.yaml"
    path.write_bytes(b"\xef\xbb\xbfgrid_mm: 2\n")
    assert read_sheet(path)[0].grid_mm == 2


values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8) | st.dates(),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
    ),
    max_leaves=6,
)
names = st.sampled_from([e.name for e in describe_fields()])


@settings(max_examples=200, deadline=None)
@given(field=names, value=values)
def test_any_value_is_taken_or_refused_in_one_sentence(field: str, value: Any) -> None:
    """Nothing but a refusal comes out of a sheet, whatever is written in it."""
    section, _, name = field.rpartition(".")
    text = yaml.safe_dump(
        {section: {name: value}} if section else {name: value}, allow_unicode=True
    )
    try:
        sheet, _ = sheet_from_text(text)
    except WorkshopError as refusal:
        assert str(refusal).strip()
    else:
        assert isinstance(sheet, JobSheet)


@settings(max_examples=100, deadline=None)
@given(st.text(max_size=60))
def test_any_text_is_taken_or_refused(text: str) -> None:
    try:
        sheet_from_text(text)
    except BadSheet as refusal:
        assert str(refusal).strip()


def test_each_figure_of_a_refusal_stands_with_its_unit() -> None:
    with pytest.raises(BadSheet) as refusal:
        with_answers(JobSheet(), {"skin.thickness_mm": 127}, place=str)
    assert "is 127 mm; it may be 3 to 15 mm" in str(refusal.value)
    assert str(refusal.value).endswith("leave it out for 6 mm.")
    with pytest.raises(BadSheet, match=r"is 93\.33 °C; it may be"):
        with_answers(JobSheet(), {"shop.temperature_c": 93.3333333}, place=str)


def test_answers_beside_the_sheet_win_and_are_checked() -> None:
    sheet = with_answers(
        JobSheet(), {"master.up": (0, 1, 0), "grid_mm": 2}, place=lambda field: "Option --up"
    )
    assert sheet.master.up == [0, 1, 0] and sheet.grid_mm == 2
    with pytest.raises(
        BadSheet, match=r"Option --wall: master.wall_mm is 0 mm; it may be 0.8 to 20 mm"
    ):
        with_answers(sheet, {"master.wall_mm": 0.0}, place=lambda field: "Option --wall")
    with pytest.raises(BadSheet, match=r"Option --pieces: shell.pieces is 5"):
        with_answers(sheet, {"shell.pieces": 5}, place=lambda field: "Option --pieces")


def test_every_field_is_described_and_bounded() -> None:
    for entry in (*describe_fields(), *describe_list_fields()):
        assert entry.what and entry.why and entry.allowed, entry.name
        assert (entry.empty is None) == (entry.default is not None), entry.name
        if entry.name.endswith(("_mm", "_deg", "_c", "_pct", "_h")):
            assert entry.unit, entry.name


def test_the_page_about_the_sheet_is_in_step() -> None:
    """Made anew with: python -c "from firstpull.core.sheet_guide import sheet_guide; ..." ."""
    assert (DOCS / "sheet.md").read_text("utf-8") == sheet_guide()


def test_the_example_on_the_page_is_a_good_sheet() -> None:
    example = sheet_guide().split("```yaml\n")[1].split("```")[0]
    sheet, given_fields = sheet_from_text(example)
    assert len(given_fields) == 9 and sheet.cast.powder == "bronze-irregular"


def test_the_steering_on_the_page_is_a_good_sheet() -> None:
    example = sheet_guide().split("```yaml\n")[2].split("```")[0]
    assert len(sheet_from_text(example)[1]) == 5


def test_the_powder_ratio_assumed_is_the_number_used() -> None:
    """The rows of the powder: level cups 1 to 1, by weight 3 to 1 or so; given, as given."""
    for basis, figure in (("bulk volume", "ratio_bulk"), ("weight", "ratio_weight")):
        cast = {"powder": "bronze-irregular", "powder_basis": basis}
        row = find_material("bronze-irregular", "powder")
        used = JobSheet.model_validate({"cast": cast}).value_used("cast.powder_ratio")
        assert used == row.typical(figure)
    given = JobSheet.model_validate({"cast": {**cast, "powder_ratio": 2.5}})
    assert given.value_used("cast.powder_ratio") == 2.5
