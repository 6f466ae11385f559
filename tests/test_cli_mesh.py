"""The mesh commands: what they write, what they say, how they end."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import trimesh
from PIL import Image
from typer.testing import CliRunner

import menagerie as m
from firstpull.cli.app import COMMANDS, app
from firstpull.cli.mesh_commands import STAGES
from firstpull.core.mesh.mending import mend as mending
from firstpull.core.mesh.mesh import Mesh, joined
from firstpull.files.read_mesh import read_mesh
from firstpull.files.write_stl import write_stl

NAMES = [command.__name__ for commands in COMMANDS.values() for command in commands]


def run(*words: object):
    return CliRunner().invoke(app, [str(word) for word in words], env={"COLUMNS": "100"})


def data(*words: object) -> dict:
    answer = run(*words, "--json")
    assert answer.exit_code == 0, answer.output
    return json.loads(answer.stdout, parse_constant=lambda word: pytest.fail(word))


@pytest.fixture
def holed(tmp_path: Path) -> Path:
    """A ball of 120 mm with the cap around its pole gone: one opening to be asked about."""
    ball = m.ball()
    cap = np.flatnonzero(ball.corners_mm[:, :, 2].min(axis=1) > 57.0)
    return saved(tmp_path / "holed.stl", m.without(ball, *cap))


@pytest.fixture
def shell(tmp_path: Path) -> Path:
    """A wall of 2 mm between two balls, closed."""
    inner = m.ball(radius_mm=58).flipped()
    return saved(tmp_path / "shell.stl", joined([m.ball(), inner]))


def saved(path: Path, mesh: Mesh) -> Path:
    write_stl(path, mesh)
    return path


def is_picture(path: Path) -> bool:
    with Image.open(path) as image:
        return image.format == "PNG" and image.size[0] > 1000


@pytest.mark.parametrize("name", NAMES)
def test_every_command_has_help_with_a_sentence_and_json(name: str) -> None:
    answer = run(name, "--help")
    assert answer.exit_code == 0
    assert "--json" in answer.stdout and ". " not in answer.stdout.split("\n")[1].strip(" .")


def test_the_stages_in_the_help_are_those_of_the_library() -> None:
    assert tuple(mending.STAGES) == STAGES


def test_check_numbers_its_findings_and_pins_them(holed: Path, tmp_path: Path) -> None:
    picture = tmp_path / "holed.png"
    answer = run("check", holed, "--picture", picture)
    assert answer.exit_code == 0, answer.output
    assert "  1. 1 open loop" in answer.stdout
    assert "Say --close 1 when mending, or leave it." in answer.stdout
    assert "What stayed of the surface did not move." in answer.stdout
    assert is_picture(picture)
    found = data("check", holed)
    assert [entry["number"] for entry in found["findings"]] == [1]
    assert found["openings"][0]["numbers"] == [1] and found["openings"][0]["asked"]


def test_check_tells_walls_thinner_than_asked(shell: Path) -> None:
    assert "thinner than" not in run("check", shell).stdout
    assert "thinner than 2.5 mm" in run("check", shell, "--least-wall", 2.5).stdout


def test_check_draws_even_what_a_plan_would_refuse(tmp_path: Path) -> None:
    twisted = saved(tmp_path / "a.stl", m.twisted_strip())
    answer = run("check", twisted, "--picture", tmp_path / "a.png")
    assert answer.exit_code == 1 and "A plan would refuse it" in answer.stdout
    assert is_picture(tmp_path / "a.png")


def test_mend_writes_a_solid_and_says_what_it_did(holed: Path, tmp_path: Path) -> None:
    out = tmp_path / "ball.3mf"
    answer = run("mend", holed, "--out", out, "--close", "all", "--picture", tmp_path / "b.png")
    assert answer.exit_code == 0, answer.output
    for words in (
        "What was wrong:",
        "closed as you asked",
        "holes closed: 1",
        "New surface",
        "free of self-crossing",
        f"Written: {out}",
    ):
        assert words in answer.stdout
    solid = trimesh.load(out, force="mesh")
    assert solid.is_watertight and solid.volume == pytest.approx(4 / 3 * np.pi * 60**3, rel=0.02)
    assert is_picture(tmp_path / "b.png")


def test_close_by_number_closes_and_nothing_said_leaves_open(holed: Path, tmp_path: Path) -> None:
    closed = data("mend", holed, "--out", tmp_path / "a.stl", "--close", "1")
    left = data("mend", holed, "--out", tmp_path / "b.stl")
    assert closed["changed"] == {"holes_closed": 1}
    assert left["changed"] == {"wall_given_mm": 3.0}
    assert closed["measures_after"]["volume_cm3"] > 6 * left["measures_after"]["volume_cm3"]


def test_mend_tells_new_surface_from_moved(holed: Path, tmp_path: Path) -> None:
    """A wall of 3 mm inside a ball of 60 mm is new; the outside did not move."""
    surface = data("mend", holed, "--out", tmp_path / "a.stl")["surface"]
    assert surface["strays_mm"] == pytest.approx(0.0, abs=1e-6)
    inner_cm2 = 4 * np.pi * 57**2 / 100
    assert surface["new_surface"]["area_cm2"] == pytest.approx(inner_cm2, rel=0.1)
    assert surface["new_surface"]["largest"][0]["farthest_mm"] == pytest.approx(-3.0, rel=0.01)
    assert surface["volume_before_cm3"] is None


def test_mend_tells_what_uniting_took_away(tmp_path: Path) -> None:
    """Two balls that overlap: each loses the cap that lies in the other."""
    two = joined([m.ball(radius_mm=40, rings=48), m.ball(radius_mm=40, rings=48, at=(50, 0, 0))])
    told = data("mend", saved(tmp_path / "a.stl", two), "--out", tmp_path / "b.stl")["surface"]
    cap_cm2 = 2 * np.pi * 40 * (40 - 25) / 100  # area of a spherical cap of that height
    assert told["gone_surface"]["area_cm2"] == pytest.approx(2 * cap_cm2, rel=0.15)
    assert told["strays_mm"] <= told["apart_mm"] + 0.01


def test_the_map_of_a_mending_is_coloured(holed: Path, tmp_path: Path) -> None:
    run("mend", holed, "--out", tmp_path / "a.stl", "--close", "1", "--map", tmp_path / "m.ply")
    dress = read_mesh(tmp_path / "m.ply").dress
    assert dress is not None and dress.vertex_colours is not None
    assert len(np.unique(dress.vertex_colours, axis=0)) == 2  # as it was, and new


def test_stages_can_be_chosen_and_left_out(holed: Path, tmp_path: Path) -> None:
    answer = run("mend", holed, "--out", tmp_path / "a.stl", "--without", "wall,rebuild")
    assert answer.exit_code == 1 and "still open" in answer.stderr
    answer = run("mend", holed, "--out", tmp_path / "a.stl", "--only", "merge,polish")
    assert answer.exit_code == 1 and '"polish" does not exist' in answer.stderr
    answer = run("mend", holed, "--out", tmp_path / "a.stl", "--without", "polish")
    assert answer.exit_code == 1 and '"polish" does not exist' in answer.stderr
    assert not (tmp_path / "a.stl").exists()


def test_names_and_colours_are_carried_through_mending(tmp_path: Path) -> None:
    box = m.divided(m.box(), 2)
    bad = m.without(box, 5)
    part = trimesh.Trimesh(bad.vertices_mm, bad.faces, process=False)
    part.visual.face_colors = np.where(
        bad.face_centres_mm[:, :1] > 0, [[200, 30, 20, 255]], [[20, 40, 180, 255]]
    )
    part.export(tmp_path / "a.ply")
    assert run("mend", tmp_path / "a.ply", "--out", tmp_path / "b.ply").exit_code == 0
    file = read_mesh(tmp_path / "b.ply")
    assert file.dress is not None
    colours = file.dress.corner_colours(file.mesh)
    assert colours is not None
    right = file.mesh.face_centres_mm[:, 0] > 0
    assert (colours[right, 0, 0] == 200).mean() > 0.95 and (colours[~right, 0, 2] == 180).all()


def test_compare_says_where_and_how_far(tmp_path: Path) -> None:
    """A bump of 3 mm on one side of a box is found there, 3 mm high."""
    box = m.divided(m.box(), 3)
    moved = box.vertices_mm.copy()
    top = (moved[:, 2] > 39.9) & (np.hypot(moved[:, 0], moved[:, 1]) < 8)
    top = top if top.any() else moved[:, 2] == moved[:, 2].max()
    moved[top, 2] += 3.0
    old, new = saved(tmp_path / "a.stl", box), saved(tmp_path / "b.stl", Mesh(moved, box.faces))
    found = data("compare", old, new, "--map", tmp_path / "m.glb", "--picture", tmp_path / "c.png")
    assert found["differences"][0]["off_mm"] == pytest.approx(3.0, abs=1e-4)
    assert found["new_from_old_mm"]["most"] == pytest.approx(3.0, abs=0.02)
    assert is_picture(tmp_path / "c.png") and (tmp_path / "m.glb").stat().st_size > 0
    assert "The same within 5 mm everywhere" in run("compare", old, new, "--same", 5).stdout


def test_compare_lays_a_moved_revision_back_or_takes_it_as_it_lies(tmp_path: Path) -> None:
    part = m.cone()
    away = np.eye(4)
    away[:3, 3] = (7.0, -4.0, 2.0)
    old, new = saved(tmp_path / "a.stl", part), saved(tmp_path / "b.stl", part.moved(away))
    assert data("compare", old, new)["same_share"] == 1.0
    lying = data("compare", old, new, "--as-it-lies")
    assert lying["alignment"] is None and lying["new_from_old_mm"]["most"] > 2.0


def test_thickness_of_a_shell(shell: Path, tmp_path: Path) -> None:
    """A wall between balls of 60 and 58 mm measures 2 mm, less the flatness of the faces."""
    found = data("thickness", shell, "--least", 2.5, "--picture", tmp_path / "a.png",
                 "--map", tmp_path / "m.ply")  # fmt: skip
    sag_mm = 60 * (1 - np.cos(np.pi / 48))  # of faces a 24th of half a turn wide
    assert found["wall_at_shares_mm"]["50%"] == pytest.approx(2.0, abs=2 * sag_mm)
    assert found["thin"] and found["thin_share"] == pytest.approx(1.0, abs=0.01)
    assert is_picture(tmp_path / "a.png") and (tmp_path / "m.ply").exists()
    assert data("thickness", shell, "--least", 1.2)["thin"] == []


def test_thickness_of_an_open_surface_is_refused(holed: Path) -> None:
    answer = run("thickness", holed)
    assert answer.exit_code == 1 and "firstpull mend" in answer.stderr


def test_thicken_adds_wall_behind(shell: Path, tmp_path: Path) -> None:
    found = data("thicken", shell, "--least", 3, "--out", tmp_path / "a.stl")
    assert found["figures"]["added_cm3"] == pytest.approx(
        4 / 3 * np.pi * (58**3 - 57**3) / 1000, rel=0.1
    )
    assert data("thickness", tmp_path / "a.stl", "--least", 2.9)["thinnest_mm"] > 2.8


def test_hollow_leaves_a_wall(tmp_path: Path) -> None:
    box = saved(tmp_path / "a.stl", m.box(size_mm=(60, 50, 40)))
    found = data("hollow", box, "--wall", 4, "--back", "0,0,-1", "--out", tmp_path / "b.stl")
    assert found["figures"]["removed_cm3"] == pytest.approx(52 * 42 * 36 / 1000, rel=0.01)
    assert found["measures_after"]["closed"]


def test_sections_and_outline_are_drawn_at_full_size(tmp_path: Path) -> None:
    box = saved(tmp_path / "a.stl", m.box(size_mm=(60, 50, 40)))
    low = read_mesh(box).mesh.bounds_mm[0]
    cut = data("section", box, "--plane", f"x={low[0] + 12}", "--out", tmp_path / "s.svg")
    assert cut["figures"][0]["size_mm"] == [50.0, 40.0]
    many = data("section", box, "--every", 10, "--along", "z", "--out", tmp_path / "s.dxf")
    assert len(many["figures"]) in (4, 5)
    middle = ",".join(str(c) for c in read_mesh(box).mesh.bounds_mm.mean(axis=0))
    slanted = run("section", box, "--at", middle, "--normal", "1,1,1", "--out", tmp_path / "t.svg")
    assert slanted.exit_code == 0, slanted.output
    shadow = data("outline", box, "--along", "-x", "--out", tmp_path / "o.svg")
    assert shadow["figures"][0]["size_mm"] == [50.0, 40.0]
    assert (tmp_path / "s.svg").read_text().startswith("<?xml")


def test_a_plane_beside_the_part_is_refused(tmp_path: Path) -> None:
    box = saved(tmp_path / "a.stl", m.box())
    answer = run("section", box, "--plane", "x=500", "--out", tmp_path / "s.svg")
    assert answer.exit_code == 1 and "has no line" in answer.stderr
    assert not (tmp_path / "s.svg").exists()


def test_symmetry_names_the_plane(tmp_path: Path) -> None:
    box = saved(tmp_path / "a.stl", m.box(size_mm=(60, 50, 40), at=(5, 0, 0)))
    answer = run("symmetry", box, "--picture", tmp_path / "a.png")
    assert answer.exit_code == 0 and "Mirror plane: " in answer.stdout
    assert is_picture(tmp_path / "a.png")


def test_simplify_stays_within_the_tolerance(tmp_path: Path) -> None:
    ball = saved(tmp_path / "a.stl", m.ball(rings=60))
    found = data("simplify", ball, "--within", 0.5, "--out", tmp_path / "b.obj")
    assert found["measures_after"]["triangles"] < 0.7 * found["measures"]["triangles"]
    assert found["figures"]["off_mm"] <= 0.5


def test_refine_leaves_no_longer_edge_and_moves_nothing(tmp_path: Path) -> None:
    ball = saved(tmp_path / "a.stl", m.ball())
    found = data("refine", ball, "--edge", 4, "--out", tmp_path / "b.ply")
    assert found["figures"]["off_mm"] <= 1e-4
    assert found["measures_after"]["triangles"] > 2 * found["measures"]["triangles"]
    again = data("check", tmp_path / "b.ply")
    assert again["measures"]["volume_cm3"] == pytest.approx(
        found["measures"]["volume_cm3"], rel=1e-6
    )


@pytest.mark.parametrize("suffix", ["stl", "obj", "ply", "off", "glb", "3mf"])
def test_convert_keeps_the_shape(tmp_path: Path, suffix: str) -> None:
    ball = saved(tmp_path / "a.stl", m.ball())
    out = tmp_path / f"b.{suffix}"
    assert run("convert", ball, out).exit_code == 0
    again = data("check", out)
    assert again["measures"]["extents_mm"] == pytest.approx([120, 120, 120], abs=1e-3)


WRITING = [
    ("mend", "{mesh}", "--out", "{out}"),
    ("simplify", "{mesh}", "--out", "{out}"),
    ("refine", "{mesh}", "--edge", "9", "--out", "{out}"),
    ("convert", "{mesh}", "{out}"),
    ("thicken", "{mesh}", "--out", "{out}"),
    ("hollow", "{mesh}", "--wall", "3", "--back", "0,0,-1", "--out", "{out}"),
]


@pytest.mark.parametrize("words", WRITING, ids=lambda words: words[0])
def test_nothing_is_overwritten_without_being_told(tmp_path: Path, words: tuple[str, ...]) -> None:
    mesh = saved(tmp_path / "a.stl", m.box())
    out = tmp_path / "b.stl"
    out.write_bytes(b"mine")
    line = [word.format(mesh=mesh, out=out) for word in words]
    answer = run(*line)
    assert answer.exit_code == 1 and "exists already" in answer.stderr
    assert answer.stderr.count("\n") == 1 and out.read_bytes() == b"mine"
    if words[0] != "thicken":  # a solid box has no show side to thicken behind
        assert run(*line, "--force").exit_code == 0
        assert out.read_bytes() != b"mine"


@pytest.mark.parametrize("words", WRITING, ids=lambda words: words[0])
def test_the_file_that_is_read_is_never_written(tmp_path: Path, words: tuple[str, ...]) -> None:
    mesh = saved(tmp_path / "a.stl", m.box())
    before = mesh.read_bytes()
    answer = run(*(word.format(mesh=mesh, out=mesh) for word in words), "--force")
    assert answer.exit_code == 1 and "is the file that is read from" in answer.stderr
    assert mesh.read_bytes() == before


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--out", "gone/b.stl"), "a folder that does not exist"),
        (("--out", "b.step"), 'has the suffix ".step"'),
        (("--out", "b"), "has no suffix"),
        (("--out", "."), "has no suffix"),
        (("--out", "b.stl", "--map", "m.stl"), 'has the suffix ".stl"'),
        (("--out", "b.stl", "--picture", "p.jpg"), 'has the suffix ".jpg"'),
        (("--out", "b.ply", "--map", "b.ply"), "is asked for twice"),
        (("--out", "b.stl", "--close", "7"), "Opening 7 does not exist"),
        (("--out", "b.stl", "--wall", "99"), "Wall is 99 mm"),
    ],
)
def test_what_cannot_be_written_is_refused_in_one_sentence(
    holed: Path, tmp_path: Path, monkeypatch, words: tuple[str, ...], said: str
) -> None:
    monkeypatch.chdir(tmp_path)
    answer = run("mend", holed, *words)
    assert answer.exit_code == 1 and said in answer.stderr
    assert answer.stderr.count("\n") == 1
    assert sorted(path.name for path in tmp_path.iterdir()) == ["holed.stl"]


@pytest.mark.parametrize(
    "line",
    [
        "mend a.stl",
        "mend a.stl --out b.stl --close x",
        "mend a.stl --out b.stl --keep 0",
        "mend a.stl --out b.stl --lids round",
        "mend a.stl --out b.stl --rebuild-step 0",
        "mend a.stl --out b.stl --small-hole -3",
        "compare a.stl",
        "compare a.stl b.stl --same 0",
        "thickness a.stl --least 0",
        "thicken a.stl",
        "hollow a.stl --out b.stl",
        "hollow a.stl --out b.stl --wall 3 --back 0,0,0",
        "section a.stl --out s.svg",
        "section a.stl --out s.svg --plane q=3",
        "section a.stl --out s.svg --plane x",
        "section a.stl --out s.svg --at 0,0,0",
        "section a.stl --out s.svg --every 5",
        "section a.stl --out s.svg --every 0 --along z",
        "outline a.stl --out s.svg --along w",
        "simplify a.stl --out b.stl --within 0",
        "refine a.stl --out b.stl",
        "refine a.stl --out b.stl --edge 0",
        "convert a.stl",
        "check a.stl --least-wall 0",
    ],
)
def test_wrong_usage_is_exit_2(line: str) -> None:
    assert run(*line.split()).exit_code == 2
