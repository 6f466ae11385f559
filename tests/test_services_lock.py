"""Locking choices into a sheet: what is written, what stays, and a revision that lies elsewhere."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from scipy.spatial.transform import Rotation
from typer.testing import CliRunner

import menagerie
from firstpull.cli.app import app
from firstpull.core.errors import WorkshopError
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.core.mould.show_paint import dabs_in
from firstpull.core.mould.steering import steering_of
from firstpull.core.mould.zone import PartingWall
from firstpull.core.sheet_check import BadSheet
from firstpull.files.write_stl import write_stl
from firstpull.services.choice import wall_as_json
from firstpull.services.chosen import NoPlan
from firstpull.services.lock_choices import OtherShape, lock_choices, unlock_choices
from firstpull.services.read_sheet import read_sheet, sheet_from_text
from firstpull.services.write_sheet import SheetNotEdited, with_fields

# a ball with an arm off its middle and a stub: it lies on itself in one way only
ODD = joined(
    [
        menagerie.ball(radius_mm=45.0),
        menagerie.box(size_mm=(70, 22, 14), at=(20, 6, 9)),
        menagerie.box(size_mm=(12, 60, 17), at=(-30, 10, -20)),
    ]
)
WALL = PartingWall((0.8, 0.6, 0.0), 12.5, ((-40.0, 0.0), (0.0, 6.0), (40.0, -2.0)))
PULLS = np.array([[0.6, 0.5, 0.6245], [-0.7, -0.3, 0.648074]])


def frame(turn: Any, scale: float, shift: Any) -> np.ndarray:
    matrix = np.eye(4)
    matrix[:3, :3] = scale * Rotation.from_rotvec(turn).as_matrix()
    matrix[:3, 3] = shift
    return matrix


TO_MOULD = frame([0.9, -0.4, 0.3], 1.0, [5.0, -8.0, 60.0])


def plan_in(folder: Path, mesh: Mesh = ODD, to_mould: np.ndarray = TO_MOULD, **shell: Any) -> Path:
    """A finished plan, as far as locks read it; the mesh is given in the file's coordinates."""
    held = {
        "pieces": [{"pull": pull.tolist()} for pull in PULLS],
        "walls": [wall_as_json(WALL)],
    }
    mould = {"frame": {"to_mould": to_mould.ravel().tolist()}, "shell": held | shell}
    part = {"master": {"file": "part/master.stl"}, "moulds": [mould]}
    (folder / "part").mkdir(parents=True, exist_ok=True)
    write_stl(folder / "part" / "master.stl", mesh.moved(to_mould))
    (folder / "plan.json").write_text(json.dumps({"schema": 1, "parts": [part]}))
    return folder


def write_mesh(path: Path, mesh: Mesh) -> Path:
    write_stl(path, mesh)
    return path


SHEET = """# River parade, second try
job:
  name: heron          # as on the poster
shell:
  kind: printed        # the bandage warped
  # thicker than usual:
  thickness_mm: 6

  draft_deg: 2

# the rest as always
grid_mm: 2
"""


def test_what_was_chosen_is_locked_and_reads_back_to_the_same_mould(tmp_path: Path) -> None:
    plan, sheet_file = plan_in(tmp_path / "plan"), tmp_path / "job.yaml"
    sheet_file.write_text(SHEET)
    report = lock_choices(plan, sheet_path=sheet_file)
    assert report.changed and set(report.fields) == {
        "master.up", "shell.pieces", "shell.walls", "shell.pulls"
    }  # fmt: skip
    sheet, given = read_sheet(sheet_file)
    assert {"shell.walls", "shell.pulls", "shell.thickness_mm", "grid_mm"} <= given
    assert sheet.shell.pieces == 2 and sheet.master.up is not None
    np.testing.assert_allclose(TO_MOULD[:3, :3] @ sheet.master.up, [0, 0, 1], atol=2e-8)
    back = steering_of(sheet, TO_MOULD)
    assert back.pulls is not None
    np.testing.assert_allclose(back.pulls, PULLS, atol=1e-6)
    points = np.random.default_rng(1).uniform(-60, 60, (100, 3))
    np.testing.assert_allclose(back.walls[0].depth(*points.T), WALL.depth(*points.T), atol=1e-3)


def test_the_rest_of_the_sheet_stays_line_by_line(tmp_path: Path) -> None:
    plan, sheet_file = plan_in(tmp_path / "plan"), tmp_path / "job.yaml"
    sheet_file.write_text(SHEET)
    lock_choices(plan, sheet_path=sheet_file, choices=["walls", "pieces"])
    lines = sheet_file.read_text().splitlines()
    new = [line for line in lines if line not in SHEET.splitlines()]
    assert [line for line in lines if line not in new] == SHEET.splitlines()
    assert [line.split(":")[0].strip() for line in new] == ["pieces", "walls", "- {through"]
    # within the group, not behind the comment that belongs to what follows
    assert lines.index("  pieces: 2") == lines.index("  draft_deg: 2") + 1


def test_unlocking_gives_back_the_sheet_as_it_was(tmp_path: Path) -> None:
    plan, sheet_file = plan_in(tmp_path / "plan"), tmp_path / "job.yaml"
    for text in (SHEET, "grid_mm: 2\n", "shell: {kind: printed}\n", "shell:\n  kind: laid"):
        sheet_file.write_text(text)
        lock_choices(plan, sheet_path=sheet_file)
        report = unlock_choices(sheet_file)
        assert report.changed and set(report.fields.values()) == {None}
        assert sheet_file.read_text().rstrip() == text.rstrip()
    assert unlock_choices(sheet_file).changed is False


def test_a_missing_sheet_is_made_and_what_is_fixed_already_is_left(tmp_path: Path) -> None:
    plan, sheet_file = plan_in(tmp_path / "plan"), tmp_path / "job.yaml"
    lock_choices(plan, sheet_path=sheet_file, choices=["walls"])
    sheet_file.write_text(sheet_file.read_text().replace("facing: [", "facing: [  "))
    report = lock_choices(plan, sheet_path=sheet_file)
    assert "shell.walls" not in report.fields and "facing: [  " in sheet_file.read_text()
    assert "shell.walls is fixed in the sheet already; name it" in report.sentences[0]
    assert "shell.walls" in lock_choices(plan, sheet_path=sheet_file, choices=["walls"]).fields
    assert "facing: [  " not in sheet_file.read_text()


def test_one_piece_has_no_wall_to_fix(tmp_path: Path) -> None:
    plan = plan_in(tmp_path / "plan", pieces=[{"pull": [0, 0, 1]}], walls=[])
    report = lock_choices(plan, sheet_path=tmp_path / "job.yaml")
    assert "there is no wall to fix" in " ".join(report.sentences)
    sheet, _ = read_sheet(tmp_path / "job.yaml")
    assert (sheet.shell.pieces, sheet.shell.walls) == (1, None)


@pytest.mark.parametrize(("unit", "scale"), [("mm", 1.0), ("m", 1.0), ("in", 1.25)])
def test_a_revision_that_was_turned_and_moved_keeps_its_locks(
    unit: str, scale: float, tmp_path: Path
) -> None:
    """A known turn and shift, in another unit and at another size than the file's."""
    to_mm = {"mm": 1.0, "m": 1000.0, "in": 25.4}[unit] * scale
    to_mould = TO_MOULD @ np.diag([to_mm, to_mm, to_mm, 1.0])
    in_file = ODD.moved(np.diag([1 / to_mm] * 3 + [1.0]))
    plan = plan_in(tmp_path / "plan", in_file, to_mould)
    sheet_file = tmp_path / "job.yaml"
    dab = (np.linalg.inv(to_mould) @ TO_MOULD @ [0, 0, 45.0, 1.0])[:3].tolist()
    text = yaml.safe_dump(
        {
            "master": {
                "unit": unit,
                "scale": scale,
                "paint": [
                    {"at": [*dab], "radius_mm": 6, "copied": True},
                    {"at": [*dab], "radius_mm": 3, "copied": False},
                ],
            },
            "shell": {"keep_whole": [{"at": dab, "radius_mm": 9}]},
        }
    )
    sheet_file.write_text("# mine\n" + text)
    lock_choices(plan, sheet_path=sheet_file)
    moved = frame([0.5, 1.1, -0.7], 1.0, np.array([31.0, -12.0, 7.0]) / to_mm)
    new = write_mesh(tmp_path / "new.stl", in_file.moved(moved))
    report = lock_choices(plan, sheet_path=sheet_file, onto=new)
    assert report.alignment is not None and report.alignment.off_mm < 0.01
    known_deg = np.degrees(np.linalg.norm([0.5, 1.1, -0.7]))
    assert report.alignment.turned_deg == pytest.approx(known_deg, abs=0.01)
    assert f"turned by {known_deg:.3g} degrees" in report.sentences[0]

    sheet, _ = read_sheet(sheet_file)
    there = steering_of(sheet, to_mould @ np.linalg.inv(moved))
    points = np.random.default_rng(1).uniform(-60, 60, (100, 3))
    # an STL holds single precision: 1e-7 of 100 mm, turned over an arm of as much
    np.testing.assert_allclose(there.walls[0].depth(*points.T), WALL.depth(*points.T), atol=5e-3)
    assert there.pulls is not None
    np.testing.assert_allclose(there.pulls, PULLS, atol=1e-4)
    at = to_mould @ [*dab, 1.0]
    np.testing.assert_allclose(there.keep_whole[0].place_mm, at[:3], atol=5e-3)
    assert there.keep_whole[0].radius_mm == 9
    assert sheet.master.paint is not None
    paint = dabs_in(sheet.master.paint, to_mould @ np.linalg.inv(moved))
    for one in paint:
        np.testing.assert_allclose(one.place_mm, at[:3], atol=5e-3)
    assert [(d.radius_mm, d.copied) for d in paint] == [(6, True), (3, False)]
    assert "Paint on the show surface was carried over." in report.sentences

    once = sheet_file.read_text()
    again = lock_choices(plan, sheet_path=sheet_file, onto=new)
    for field in ("master.paint", "shell.keep_whole"):
        assert f"{field} lies on the new revision already" in " ".join(again.sentences)
    assert once == sheet_file.read_text() and once.startswith("# mine\n")


def test_a_revision_changed_in_one_place_keeps_its_locks(tmp_path: Path) -> None:
    """A longer arm, a tenth of the surface: the rest says where it lies."""
    plan, sheet_file = plan_in(tmp_path / "plan"), tmp_path / "job.yaml"
    lock_choices(plan, sheet_path=sheet_file)
    longer = joined(
        [
            menagerie.ball(radius_mm=45.0),
            menagerie.box(size_mm=(80, 22, 14), at=(20, 6, 9)),
            menagerie.box(size_mm=(12, 60, 17), at=(-30, 10, -20)),
        ]
    )
    new = write_mesh(tmp_path / "new.stl", longer.moved(frame([0, 0, 0.4], 1.0, [3, 4, 5])))
    lock_choices(plan, sheet_path=sheet_file, onto=new)
    there = steering_of(
        read_sheet(sheet_file)[0], TO_MOULD @ np.linalg.inv(frame([0, 0, 0.4], 1.0, [3, 4, 5]))
    )
    points = np.random.default_rng(1).uniform(-60, 60, (100, 3))
    np.testing.assert_allclose(there.walls[0].depth(*points.T), WALL.depth(*points.T), atol=0.1)


@pytest.mark.long
def test_a_revision_that_does_not_fit_is_refused_and_nothing_is_written(tmp_path: Path) -> None:
    plan, sheet_file = plan_in(tmp_path / "plan"), tmp_path / "job.yaml"
    sheet_file.write_text(SHEET)
    other = write_mesh(tmp_path / "other.stl", menagerie.box(size_mm=(140, 90, 50)))
    with pytest.raises(OtherShape) as refusal:
        lock_choices(plan, sheet_path=sheet_file, onto=other)
    assert "other.stl does not fit the planned master" in str(refusal.value)
    assert "three of ten places are more than" in str(refusal.value)
    assert "master.scale" in refusal.value.remedy and sheet_file.read_text() == SHEET


def test_an_unmoved_revision_is_said_to_lie_where_it_lay(tmp_path: Path) -> None:
    plan, sheet_file = plan_in(tmp_path / "plan"), tmp_path / "job.yaml"
    lock_choices(plan, sheet_path=sheet_file)
    before = read_sheet(sheet_file)
    new = write_mesh(tmp_path / "new.stl", ODD)
    report = lock_choices(plan, sheet_path=sheet_file, onto=new)
    assert report.sentences[0].startswith("new.stl lies where the planned mesh lay")
    assert read_sheet(sheet_file) == before


def test_a_folder_without_a_plan_is_refused(tmp_path: Path) -> None:
    with pytest.raises(NoPlan, match=r"holds no plan.json that can be read \(no such file"):
        lock_choices(tmp_path, sheet_path=tmp_path / "job.yaml")
    for text in ("{", "[]", "{}", '{"parts": []}', '{"parts": [{"moulds": [{}]}]}'):
        (tmp_path / "plan.json").write_text(text)
        with pytest.raises(NoPlan, match="Name the folder that firstpull plan --out wrote"):
            lock_choices(tmp_path, sheet_path=tmp_path / "job.yaml")


def test_a_plan_that_does_not_tell_its_walls_is_refused(tmp_path: Path) -> None:
    plan = plan_in(tmp_path / "plan")
    held = json.loads((plan / "plan.json").read_text())
    del held["parts"][0]["moulds"][0]["shell"]["walls"]
    (plan / "plan.json").write_text(json.dumps(held))
    with pytest.raises(NoPlan, match="does not say where its parting walls stand"):
        lock_choices(plan, sheet_path=tmp_path / "job.yaml")
    assert lock_choices(plan, sheet_path=tmp_path / "job.yaml", choices=["pulls"]).changed


def test_a_lock_that_contradicts_the_sheet_is_refused(tmp_path: Path) -> None:
    sheet_file = tmp_path / "job.yaml"
    sheet_file.write_text("shell: {pieces: 3}\n")
    with pytest.raises(BadSheet, match="has 2 pulls for pieces: 3"):
        lock_choices(plan_in(tmp_path / "plan"), sheet_path=sheet_file)
    assert sheet_file.read_text() == "shell: {pieces: 3}\n"


EDITS = [
    ("", "shell:\n  pieces: 2\n"),
    ("# nothing yet", "# nothing yet\nshell:\n  pieces: 2\n"),
    ("---\n", "---\nshell:\n  pieces: 2\n"),
    ("grid_mm: 2", "grid_mm: 2\nshell:\n  pieces: 2\n"),
    ("shell:\ngrid_mm: 2\n", "shell:\n  pieces: 2\ngrid_mm: 2\n"),
    ("shell: ~\n", "shell: \n  pieces: 2\n"),
    ("shell: {}\n", "shell:  {pieces: 2}\n"),
    ("shell:\n    kind: laid\n", "shell:\n    kind: laid\n    pieces: 2\n"),
    ("shell:\n  pieces: 3 # a\n", "shell:\n  pieces: 2 # a\n"),
    ("shell: {pieces: 3, kind: laid} # a\n", "shell: {pieces: 2, kind: laid} # a\n"),
    ("shell: {kind: laid, } # a\n", "shell: {kind: laid, pieces: 2, } # a\n"),
    ("{grid_mm: 2}\n", "{grid_mm: 2, shell: {pieces: 2}}\n"),
    ("{shell: , grid_mm: 2}\n", "{shell: {pieces: 2} , grid_mm: 2}\n"),
    ("shell:\r\n  kind: laid\r\n", "shell:\r\n  kind: laid\r\n  pieces: 2\r\n"),
    ("shell:\n  pulls:\n  - [0, 0, 1]\n  - [0, 1, 1]\n  # b\njob: {}\n",
     "shell:\n  pulls:\n  - [0, 0, 1]\n  - [0, 1, 1]\n  pieces: 2\n  # b\njob: {}\n"),
]  # fmt: skip


@pytest.mark.parametrize(("before", "after"), EDITS)
def test_a_field_goes_where_a_maker_would_write_it(before: str, after: str) -> None:
    made = with_fields(before, {"shell.pieces": 2})
    assert sheet_from_text(made)[0].shell.pieces == 2
    assert " ".join(made.split(" ")).replace("  {", " {") == after.replace("  {", " {")


TEXTS = [
    ("", {"skin.material": "silicone-tin-30a"}, "skin:\n  material: silicone-tin-30a\n"),
    ("", {"job.name": "heron: try 2 #b"}, 'job:\n  name: "heron: try 2 #b"\n'),
    ("job: {name: a}\n", {"job.name": "null"}, 'job: {name: "null"}\n'),
    ("job:\n  name: a  # as on the poster\n", {"job.name": 'd\u00e9cor "b"'},
     'job:\n  name: "d\u00e9cor \\"b\\""  # as on the poster\n'),
    ("", {"grid_mm": 2}, "grid_mm: 2\n"),
    ("# a\ngrid_mm: 1.5 # b\nskin: {}\n", {"grid_mm": 2}, "# a\ngrid_mm: 2 # b\nskin: {}\n"),
    ("skin:\n  thickness_mm: 8\n# b\n", {"grid_mm": 2},
     "skin:\n  thickness_mm: 8\ngrid_mm: 2\n# b\n"),
    ("grid_mm: 2 # a\nskin:\n  thickness_mm: 8\n", {"grid_mm": None},
     "skin:\n  thickness_mm: 8\n"),
    ("{grid_mm: 2, skin: {}}\n", {"grid_mm": None}, "{skin: {}}\n"),
]  # fmt: skip


@pytest.mark.parametrize(("before", "fields", "after"), TEXTS)
def test_text_and_fields_beside_the_groups_are_written_too(
    before: str, fields: dict[str, Any], after: str
) -> None:
    assert with_fields(before, fields) == after


TAKEN_OUT = [
    ("shell:\n  pieces: 3 # a\n", ""),
    ("# a\nshell: # b\n  pieces: 3\ngrid_mm: 2\n", "# a\nshell: # b\ngrid_mm: 2\n"),
    ("shell: {pieces: 3}\n", "shell: {}\n"),
    ("shell: {kind: laid, pieces: 3}\n", "shell: {kind: laid}\n"),
    ("shell: {pieces: 3, kind: laid}\n", "shell: {kind: laid}\n"),
    ("grid_mm: 2\n", "grid_mm: 2\n"),
]


@pytest.mark.parametrize(("before", "after"), TAKEN_OUT)
def test_a_field_taken_out_leaves_the_rest(before: str, after: str) -> None:
    assert with_fields(before, {"shell.pieces": None}) == after


def test_what_cannot_be_edited_is_refused_with_the_lines_to_paste() -> None:
    for text in ("grid_mm: 2\n...\n", "shell:\n  ? kind\n  : laid\n"):
        with pytest.raises(SheetNotEdited) as refusal:
            with_fields(text, {"shell.pieces": 2, "master.up": [0.0, 1.0, 0.0]}, name="job.yaml")
        assert "master:\n  up: [0, 1, 0]" in refusal.value.remedy
        assert "shell:\n  pieces: 2" in refusal.value.remedy
        assert "Nothing was changed" in str(refusal.value)


def test_a_byte_order_mark_stays(tmp_path: Path) -> None:
    sheet_file = tmp_path / "job.yaml"
    sheet_file.write_bytes(b"\xef\xbb\xbfgrid_mm: 2\r\n")
    lock_choices(plan_in(tmp_path / "plan"), sheet_path=sheet_file, choices=["pieces"])
    assert sheet_file.read_bytes() == b"\xef\xbb\xbfgrid_mm: 2\r\nshell:\r\n  pieces: 2\r\n"


def test_the_command_locks_unlocks_and_refuses(tmp_path: Path) -> None:
    plan, sheet_file = plan_in(tmp_path / "plan"), tmp_path / "job.yaml"

    def run(*words: str) -> Any:
        return CliRunner().invoke(app, ["lock", str(plan), "--sheet", str(sheet_file), *words])

    answer = run("walls", "up")
    assert answer.exit_code == 0 and "shell.walls: 1 fixed." in answer.stdout
    assert read_sheet(sheet_file)[1] == {"shell.walls", "master.up"}
    report = json.loads(run("all", "--json").stdout)
    assert report["changed"] and set(report["fields"]) == {
        "master.up", "shell.pieces", "shell.walls", "shell.pulls"
    }  # fmt: skip
    assert run("--unlock", "walls").exit_code == 0
    assert "shell.walls" not in read_sheet(sheet_file)[1]
    assert run("seam").exit_code == 2 and run("--unlock", "--for", "x.stl").exit_code == 2
    missing = run("--for", str(tmp_path / "none.stl"))
    assert missing.exit_code == 1 and "none.stl" in missing.stderr


def test_refusals_are_of_the_workshop() -> None:
    codes = {kind.code for kind in (NoPlan, OtherShape, SheetNotEdited)}
    assert len(codes) == 3 and all(issubclass(k, WorkshopError) for k in (NoPlan, OtherShape))
