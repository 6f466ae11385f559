"""A shop's own figures win over the rows, are told wherever they are used, and are checked."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pypdf
import pytest
from typer.testing import CliRunner

from firstpull import wiring
from firstpull.cli.app import app
from firstpull.core.cast.plan import plan_cast
from firstpull.core.demo import heron_half_mask
from firstpull.core.errors import WorkshopError
from firstpull.core.material.own import BadOwnFigure, OwnFigure, own_figure
from firstpull.core.material.row import UnknownMaterial, find_material, material_rows
from firstpull.core.material.shelf import package_shelf
from firstpull.files.write_stl import write_stl
from firstpull.packet.own_figures import MARK
from firstpull.packet.packet import page_data
from firstpull.services.plan_job import plan_job
from firstpull.services.plan_types import PlanRequest
from firstpull.services.read_own_figures import (
    MOST_BYTES,
    UnreadableFigures,
    own_figures_from_text,
    read_own_figures,
)
from firstpull.services.run_plan import summary_of
from firstpull.services.stages import Stages
from firstpull.services.why import UnknownNumber, why
from firstpull.services.why_folder import NoPlanToAsk
from firstpull.services.why_own import resting_on_own
from firstpull.store.memory import MemoryStore
from sample_plan import sample_plan
from why_cases import bench_plan

POT = OwnFigure("silicone-tin-30a", "pot_life", 25, 30, 38, "twelve cups timed in March")
RATIO = OwnFigure("bronze-irregular", "ratio_bulk", 0.6, 0.8, 0.9, "brushes well")
DOCS = Path(__file__).parent.parent / "docs"
ENDS = (".p10", ".p50", ".p90")
REJECTS = OwnFigure("slush-casting", "rejects", 30, 40, 45, "the log of spring")
LIST = """
- material: silicone-tin-30a
  figure: pot_life
  low: 25
  typical: 30
  high: 38
  note: twelve cups timed in March
- {material: slush-casting, figure: rejects, low: 30, typical: 40, high: 45,
   note: the log of spring}
"""


# -- the shelf


def test_an_own_figure_wins_over_the_row_and_is_marked_with_its_note() -> None:
    row = package_shelf().with_own([POT]).find("silicone-tin-30a", "silicone")
    figure = row["pot_life"]
    assert (figure.low, figure.typical, figure.high) == (25, 30, 38)
    assert (figure.mark, figure.source) == ("own", "twelve cups timed in March")
    was = find_material("silicone-tin-30a")["pot_life"]
    assert figure.unit == was.unit
    assert f"{was.low:g} to {was.high:g}" in figure.note and was.mark in figure.note


def test_all_other_rows_and_figures_stay_as_they_are() -> None:
    shelf = package_shelf().with_own([POT])
    before = material_rows()
    changed = {
        (row.id, name)
        for row in shelf.rows.values()
        for name, figure in row.figures.items()
        if figure != before[row.id][name]
    }
    assert changed == {("silicone-tin-30a", "pot_life")}
    assert find_material("silicone-tin-30a")["pot_life"].mark != "own"


def test_no_row_that_comes_along_is_marked_own() -> None:
    marks = {figure.mark for row in material_rows().values() for figure in row.figures.values()}
    assert "own" not in marks


def test_every_figure_of_every_row_may_be_set_to_what_it_is() -> None:
    """So no check stands in the way of a figure that the package itself believes in."""
    for row in material_rows().values():
        for name, was in row.figures.items():
            own = OwnFigure(row.id, name, was.low, was.typical, was.high, "as it was")
            assert own_figure(row, own).typical == was.typical


def test_an_own_figure_moves_the_same_draws() -> None:
    """What rests on two figures keeps its other one: only the changed figure's spread moves."""
    row = package_shelf().with_own([POT]).find("silicone-tin-30a")
    was = find_material("silicone-tin-30a")
    assert (row.estimate("density").draws == was.estimate("density").draws).all()
    order = row.estimate("pot_life").draws.argsort()
    assert (order == was.estimate("pot_life").draws.argsort()).all()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"material": "silicon"}, 'is of "silicon", which is not known'),
        ({"figure": "potlife"}, 'sets "potlife", which tin-cure silicone, Shore 30A does not have'),
        ({"low": 31}, "low may not be above typical"),
        ({"high": 29}, "low may not be above typical"),
        ({"low": 0}, "it must be above 0, as the row's is"),
        ({"low": -1}, "it must be above 0, as the row's is"),
        ({"typical": float("nan")}, "plain numbers are needed"),
        ({"high": float("inf")}, "plain numbers are needed"),
        ({"note": "  "}, "without a note"),
        ({"note": "x" * 301}, "has a note of 301 characters"),
        ({"low": 2500, "typical": 3000, "high": 5000}, "a hundred times off"),
        ({"low": 0.01}, "a hundred times off"),
    ],
)
def test_a_figure_that_does_not_fit_its_row_is_refused(change: dict[str, Any], said: str) -> None:
    with pytest.raises((BadOwnFigure, UnknownMaterial)) as refused:
        package_shelf().with_own([replace(POT, **change)])
    sentence = str(refused.value)
    assert said in sentence
    assert refused.value.limit and refused.value.remedy
    assert "Own figure" in sentence


def test_a_share_of_all_of_it_is_refused() -> None:
    with pytest.raises(BadOwnFigure, match="below 100 %") as refused:
        package_shelf().with_own([replace(REJECTS, high=100)])
    assert refused.value.code == "bad_own_figure"


def test_the_same_figure_twice_is_refused() -> None:
    with pytest.raises(BadOwnFigure, match="again"):
        package_shelf().with_own([POT, replace(POT, typical=28)])
    with pytest.raises(BadOwnFigure, match="again"):
        package_shelf().with_own([POT]).with_own([POT])


# -- what they change


def test_rejects_of_the_shop_make_more_castings() -> None:
    shelf = package_shelf().with_own([REJECTS])
    asked: dict[str, Any] = {"show_area_cm2": 600, "good_castings": 6, "resin": "urethane-medium"}
    usual, own = plan_cast(**asked), plan_cast(**asked, shelf=shelf)
    assert usual.castings.total == 9
    assert own.castings.total == 1 + 12  # 7 wanted / 0.6, rounded up, after a cleaner pull
    assert [row.row.typical("rejects") for row in own.castings.why.rows if row.figure == "rejects"]


def test_the_wait_for_a_thin_wall_is_the_shops() -> None:
    thin = OwnFigure("slush-casting", "thin_wall_demould", 1, 1.1, 1.2, "warm cupboard")
    asked: dict[str, Any] = {"show_area_cm2": 600, "good_castings": 6, "resin": "urethane-medium"}
    own = plan_cast(**asked, shelf=package_shelf().with_own([thin]))
    usual = plan_cast(**asked)
    assert own.demould_min[1] == pytest.approx(usual.demould_min[1] * 1.2 / 3)


def test_a_powder_ratio_of_the_shop_goes_into_the_face_coat_and_its_why() -> None:
    own = bench_plan(own=(RATIO,))
    coat = own["parts"][0]["cast"]["coats"][0]
    assert coat["powder_ml"] == pytest.approx(0.8 * (coat["a_ml"] + coat["b_ml"]), rel=2e-3)
    marks = {row["row"]: row["mark"] for row in coat["why"]["rows"]}
    assert marks["bronze-irregular: ratio_bulk"] == "own"
    assert "bronze-irregular: ratio_bulk" not in {
        row["row"] for row in own["parts"][0]["cast"]["coats"][1]["why"]["rows"]
    }


def test_own_figures_that_are_the_rows_change_no_number() -> None:
    was = find_material("silicone-tin-30a")["pot_life"]
    same = replace(POT, low=was.low, typical=was.typical, high=was.high)
    usual, own = bench_plan(), bench_plan(own=(same,))
    for key in ("steps", "schedule", "shopping"):
        assert own[key] == usual[key]


def test_whys_tell_the_mark_own_and_the_note() -> None:
    plan = bench_plan(own=(POT,))
    rows = why(plan, "parts.0.moulds.0.coats.0.batches.0.pot_life_min")["rows"]
    found = {row["figure"]: (row["mark"], row["source"]) for row in rows}
    assert found["pot_life"] == ("own", "twelve cups timed in March")
    assert found["activation_energy"][0] != "own"


# -- which numbers rest on them


def moved(one: Any, other: Any, path: str = "") -> set[str]:
    """Paths of numbers that differ between two plans of one shape."""
    if isinstance(one, dict):
        keys = set(one) & set(other)
        return set().union(*(moved(one[k], other[k], f"{path}.{k}".lstrip(".")) for k in keys))
    if isinstance(one, list):
        pairs = enumerate(zip(one, other, strict=False))
        return set().union(*(moved(a, b, f"{path}.{n}") for n, (a, b) in pairs))
    is_number = isinstance(one, int | float) and not isinstance(one, bool)
    return {path} if is_number and one != other else set()


@pytest.mark.parametrize(
    "own",
    [
        POT,
        RATIO,
        REJECTS,
        OwnFigure("silicone-tin-30a", "density", 1.1, 1.3, 1.4, "weighed"),
        OwnFigure("silicone-tin-30a", "activation_energy", 60, 70, 80, "two rooms compared"),
        OwnFigure("silicone-tin-30a", "waste_small", 30, 35, 40, "weighed"),
        OwnFigure("urethane-medium", "part_b_density", 1.2, 1.3, 1.4, "weighed"),
        OwnFigure("urethane-medium", "density", 1.2, 1.3, 1.4, "weighed"),
        OwnFigure("urethane-medium", "pot_life", 2.5, 3, 4, "timed"),
        OwnFigure("urethane-medium", "gel", 20, 25, 30, "timed"),
        OwnFigure("bronze-irregular", "bulk_density", 2, 2.4, 2.6, "a level cup weighed"),
        OwnFigure("brushed-skin", "brush_rate", 5, 6, 8, "slow hands"),
        OwnFigure("brushed-skin", "placing_rate", 1, 2, 3, "slow hands"),
        OwnFigure("brushed-skin", "stir", 10, 12, 14, "by hand"),
        OwnFigure("brushed-skin", "thickness_ratio", 1.1, 1.2, 1.4, "cut and measured"),
        OwnFigure("slush-casting", "brush_rate", 10, 12, 15, "slow hands"),
        OwnFigure("slush-casting", "slush_rate", 20, 25, 30, "slow hands"),
        OwnFigure("slush-casting", "thin_wall_demould", 3, 4, 5, "cold room"),
        OwnFigure("plaster-bandage", "density", 1.3, 1.4, 1.5, "weighed"),
        OwnFigure("plaster-bandage", "piece_wait", 60, 70, 80, "timed"),
        OwnFigure("clay-sulphur-free", "waste", 30, 40, 50, "weighed"),
        OwnFigure("release-wax", "use", 3, 4, 5, "weighed"),
        OwnFigure("thickener-liquid", "dose", 2, 3, 4, "by eye"),
    ],
    ids=lambda own: own.name,
)
def test_all_numbers_that_an_own_figure_moves_are_told_to_rest_on_it(own: OwnFigure) -> None:
    """Each figure is changed and the plan made anew: what moved must be among those told."""
    plan = bench_plan(own=(own,))
    told = set(resting_on_own(plan)[0])
    bare = {key: bench_plan()[key] for key in ("parts", "steps", "schedule", "shopping")}
    changed = {p for p in moved(bare, plan) if "why" not in p}
    assert changed
    whole = {p.rpartition(".")[0] if p.endswith(ENDS) else p for p in changed}
    assert whole - told == set()


def test_nothing_rests_on_a_figure_that_the_plan_does_not_use() -> None:
    idle = OwnFigure("silicone-tin-30a", "elongation", 300, 400, 500, "pulled")
    other = OwnFigure("epoxy", "gel", 300, 400, 500, "timed")
    assert resting_on_own(bench_plan(own=(idle, other))) == [[], []]


@pytest.mark.long
@pytest.mark.parametrize("bench", ["laid", "printed", "laminate"])
def test_no_figure_of_any_row_in_use_moves_a_number_unseen(bench: str) -> None:
    """All figures in turn, each a fifth larger: what moves is told to rest on the figure."""
    asked: dict[str, Any] = {
        "laid": {},
        "printed": {"shell": "printed-plastic", "powder": "none"},
        "laminate": {"shell": "glass-polyester", "silicone": "silicone-platinum-30a"},
    }[bench]
    usual = bench_plan(**asked)
    bare = {key: usual[key] for key in ("parts", "steps", "schedule", "shopping")}
    titles = [step["title"] for step in usual["steps"]]
    moving = 0
    for row in usual["materials"]:
        for name, was in row["figures"].items():
            values = [1.2 * was[end] for end in ("low", "typical", "high")]
            plan = bench_plan(**asked, own=(OwnFigure(row["id"], name, *values, "a fifth more"),))
            told = set(resting_on_own(plan)[0])
            changed = {p for p in moved(bare, plan) if "why" not in p and "_spread_g" not in p}
            whole = {p.rpartition(".")[0] if p.endswith(ENDS) else p for p in changed}
            if [step["title"] for step in plan["steps"]] != titles:  # a coat more or fewer
                whole = {p for p in whole if not re.search(r"(coats|steps)\.\d", p)}
                assert whole
            assert whole - told == set(), f"{row['id']}: {name}"
            moving += bool(changed)
    assert moving > 25


# -- the file


def test_the_guide_s_example_is_read() -> None:
    text = (DOCS / "own-figures.md").read_text("utf-8")
    block = text.partition("```yaml\n")[2].partition("```")[0]
    assert [own.figure for own in own_figures_from_text(block)] == ["pot_life", "rejects"]


def test_the_guide_names_every_refusal() -> None:
    text = (DOCS / "own-figures.md").read_text("utf-8")
    for kind in (BadOwnFigure, UnknownMaterial, UnreadableFigures, UnknownNumber, NoPlanToAsk):
        assert f"`{kind.code}`" in text


def test_a_list_in_a_file_is_read(tmp_path: Path) -> None:
    path = tmp_path / "own.yaml"
    path.write_text(LIST)
    assert read_own_figures(path) == (POT, REJECTS)


@pytest.mark.parametrize("text", ["", "# nothing yet\n", "---\n", "[]"])
def test_an_empty_list_holds_no_figures(text: str) -> None:
    assert own_figures_from_text(text) == ()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (LIST.replace("typical: 30", "typical: 3"), 'Line 2 of "own.yaml" sets pot_life to 25, 3'),
        (LIST.replace("low: 25", "low: soon"), 'Line 4 of "own.yaml" has low "soon"'),
        (LIST.replace("low: 25", "low: yes"), 'Line 4 of "own.yaml" has low "yes"'),
        (LIST.replace("low: 25", 'low: "25"'), 'Line 4 of "own.yaml" has low "25"'),
        (LIST.replace("low: 25", "low:"), 'Line 4 of "own.yaml" has low ""'),
        (LIST.replace("  high: 38\n", ""), 'Line 2 of "own.yaml" gives no high'),
        (LIST.replace("  note: twelve cups timed in March\n", ""), "gives no note"),
        (LIST.replace("figure: pot_life", "figur: pot_life"), 'has a field "figur"'),
        (LIST.replace("low: 25", "low: 25\n  low: 26"), 'Line 5 of "own.yaml" gives low again'),
        (LIST + LIST, 'Line 11 of "own.yaml" gives silicone-tin-30a: pot_life again'),
        (LIST.replace("silicone-tin", "silicone-tan"), 'is of "silicone-tan-30a"'),
        ("- 3\n", "is not a group of fields"),
        ("- [1, 2]\n", "is not a group of fields"),
    ],
)
def test_a_faulty_figure_in_a_file_is_refused_by_its_line(text: str, said: str) -> None:
    with pytest.raises((BadOwnFigure, UnknownMaterial)) as refused:
        own_figures_from_text(text)
    assert said in str(refused.value)
    assert str(refused.value).startswith("Line ")
    assert refused.value.remedy


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("material: bronze", "is no list"),
        ("- {material: ", "is not YAML"),
        ("- &a {note: x}\n- *a", "shares values or carries tags in line 1"),
        ("- !!python/name:os.system {}", "shares values or carries tags in line 1"),
        ("\x00", "is not YAML"),
        ("[" * 5000, "is not YAML"),
    ],
)
def test_a_file_that_is_no_list_is_refused(text: str, said: str) -> None:
    with pytest.raises(UnreadableFigures, match="The list of own figures") as refused:
        own_figures_from_text(text)
    assert said in str(refused.value)
    assert refused.value.code == "unreadable_own_figures"


def test_a_file_that_cannot_be_opened_is_large_or_no_text_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "own.yaml"
    with pytest.raises(UnreadableFigures, match="cannot be opened"):
        read_own_figures(path)
    path.write_bytes(b"- a: \xff\n")
    with pytest.raises(UnreadableFigures, match="line 1 holds bytes that are not UTF-8"):
        read_own_figures(path)
    path.write_bytes(b"#" * (MOST_BYTES + 1))
    with pytest.raises(UnreadableFigures, match="larger than"):
        read_own_figures(path)


# -- the command


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[PlanRequest]:
    requests: list[PlanRequest] = []

    def plan(request: PlanRequest, *, progress: Any) -> dict[str, Any]:
        requests.append(request)
        return summary_of(sample_plan(), out=str(request.out_dir), files={})

    monkeypatch.setattr(wiring, "run_plan", plan)
    return requests


def test_the_command_passes_own_figures_on(asked: list[PlanRequest], tmp_path: Path) -> None:
    path = tmp_path / "own.yaml"
    path.write_text(LIST)
    answer = CliRunner().invoke(app, ["plan", "mask.stl", "--out", "here", "--own", str(path)])
    assert answer.exit_code == 0, answer.output
    assert asked[0].figures == (POT, REJECTS)


def test_the_command_refuses_a_faulty_list_before_it_plans(
    asked: list[PlanRequest], tmp_path: Path
) -> None:
    path = tmp_path / "own.yaml"
    path.write_text(LIST.replace("high: 38", "high: 3.8"))
    answer = CliRunner().invoke(app, ["plan", "mask.stl", "--out", "here", "--own", str(path)])
    assert answer.exit_code == 1
    assert 'Line 2 of "own.yaml" sets pot_life' in answer.output
    assert asked == []


# -- the packet


def resting_sample() -> dict[str, Any]:
    plan = sample_plan()
    plan["own_figures"] = [
        {
            "material": "urethane-medium",
            "name": "rigid urethane resin, medium",
            "figure": "gel",
            "unit": "min",
            "was": {"low": 9.0, "typical": 12.0, "high": 15.0},
            "now": {"low": 20.0, "typical": 25.0, "high": 30.0},
            "note": "timed in a cold shed",
            "numbers": [
                "parts.0.cast.pull_mass_g",
                "parts.0.cast.coats.1.batches.0.a_g",
                "parts.0.moulds.0.coats.0.next_coat_min.0",
                "steps.2.minutes_least",
                "shopping.1.buy",
            ],
        },
        {
            "material": "epoxy",
            "figure": "gel",
            "unit": "min",
            "now": {"low": 1.0, "typical": 2.0, "high": 3.0},
            "note": "of another job",
            "numbers": [],
        },
    ]
    return plan


def test_the_pages_list_own_figures_and_mark_what_rests_on_them() -> None:
    data = page_data(resting_sample(), {})
    assert data["own"] == [
        {
            "what": "rigid urethane resin, medium › gel",
            "was": "12 min (9 – 15)",
            "now": "25 min (20 – 30)",
            "note": "timed in a cold shed",
        }
    ]
    text = json.dumps(data, ensure_ascii=False)
    assert text.count(MARK) == 6  # the pull stands on the card as well
    part = data["parts"][0]
    assert f"weight of the pull {MARK}" in {r["label"] for r in part["summary"]["readouts"]}
    assert part["cast"]["coats"][1]["cups"][0]["pours"][0]["name"] == f"A {MARK}"
    assert part["cast"]["coats"][0]["cups"][0]["pours"][0]["name"] == "A"
    assert data["steps"][2]["time"].endswith(MARK)
    assert data["shopping"][1]["buy"].endswith(MARK)


def test_without_own_figures_nothing_is_marked() -> None:
    data = page_data(sample_plan(), {})
    assert data["own"] == []
    assert MARK not in json.dumps(data, ensure_ascii=False)


# -- a whole plan


@pytest.mark.long
def test_own_figures_of_a_whole_plan(tmp_path: Path) -> None:
    """They stand in plan.json and packet, and to change them shapes and proves nothing anew."""
    mesh = tmp_path / "heron.stl"
    write_stl(mesh, heron_half_mask(triangles=50_000))
    job = tmp_path / "job.yaml"
    job.write_text("grid_mm: 2\ncast: {powder: bronze-irregular}\n")
    store = MemoryStore()
    request = PlanRequest(tmp_path / "plan", mesh_path=mesh, sheet_path=job)
    plain = plan_job(request, Stages(store))
    again = Stages(store)
    own = plan_job(replace(request, figures=(POT, RATIO, REJECTS)), again)
    assert again.ran == []
    assert plain.plan["own_figures"] == []
    told = own.plan["own_figures"]
    assert [entry["figure"] for entry in told] == ["pot_life", "ratio_bulk", "rejects"]
    assert told[0]["was"] == find_material("silicone-tin-30a")["pot_life"].as_json()
    assert told[0]["now"] == {"low": 25, "typical": 30, "high": 38}
    assert "parts.0.cast.castings" in told[2]["numbers"]
    assert "parts.0.cast.castings" not in told[0]["numbers"]
    assert own.plan["parts"][0]["cast"]["castings"] == 13
    ratio = next(a for a in own.plan["assumed"] if a["field"] == "cast.powder_ratio")
    assert (ratio["value"], ratio["why"]) == (0.8, "own figure: brushes well")
    (tmp_path / "packet.pdf").write_bytes(own.packet_pdf)
    pages = [page.extract_text() for page in pypdf.PdfReader(tmp_path / "packet.pdf").pages]
    listed = next(page for page in pages if "twelve cups timed in March" in page)
    assert "own figures" in listed
    assert all(MARK in page for page in pages)


@pytest.mark.long
def test_a_bad_own_figure_is_refused_before_the_mesh_is_read(tmp_path: Path) -> None:
    request = PlanRequest(
        tmp_path / "plan", mesh_path=tmp_path / "not-there.stl", figures=(replace(POT, low=90),)
    )
    with pytest.raises(WorkshopError) as refused:
        plan_job(request, Stages(MemoryStore()))
    assert refused.value.code == "bad_own_figure"
