"""Plans to ask why of, and how their numbers are worked out anew from what an answer names."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from typing import Any, Literal

from firstpull.core.cast.plan import plan_cast
from firstpull.core.material.own import OwnFigure
from firstpull.core.material.shelf import package_shelf
from firstpull.core.mould.coats import plan_skin_coats, skin_mass, skin_mass_why
from firstpull.core.mould.options import Option
from firstpull.core.schedule.mould_steps import MouldWork
from firstpull.core.schedule.shopping import shopping_list
from firstpull.core.schedule.steps import plan_schedule, plan_steps
from firstpull.services.choice import choice_of
from firstpull.services.why_entry import value_at

SHOW_CM2, COVERED_CM2, SKIN_CM3, FILL_CM3, CLAY_CM3 = 650.0, 850.0, 900.0, 60.0, 400.0
PIECES_CM3 = (420.0, 380.5)


def bench_plan(
    *,
    silicone: str = "silicone-tin-30a",
    shell: str = "plaster-bandage",
    resin: str = "urethane-medium",
    powder: str = "bronze-irregular",
    temperature_c: float = 26.0,
    own: tuple[OwnFigure, ...] = (),
) -> dict[str, Any]:
    """All of plan.json that is worked out without geometry, for given areas and volumes."""
    shelf = package_shelf().with_own(own)
    kind: Literal["laid", "printed"] = "printed" if shell == "printed-plastic" else "laid"
    rubber, rigid = shelf.find(silicone), shelf.find(shell)
    clay, release = shelf.find("clay-sulphur-free"), shelf.find("release-wax")
    thickener, brushing = shelf.find("thickener-liquid"), shelf.find("brushed-skin")
    skin: dict[str, Any] = {
        "area_cm2": COVERED_CM2,
        "volume_cm3": SKIN_CM3,
        "thickness_mm": 6.0,
        "row": rubber,
        "practice": brushing,
    }
    coats = plan_skin_coats(
        **skin,
        fill_cm3=FILL_CM3,
        temperature_c=temperature_c,
        bedding_mm=1.5 if kind == "printed" else 0.0,
        thickener=thickener,
    )
    cast = plan_cast(
        show_area_cm2=SHOW_CM2,
        trim_area_cm2=COVERED_CM2 - SHOW_CM2,
        good_castings=6,
        resin=resin,
        powder=powder,
        temperature_c=temperature_c,
        shelf=shelf,
    )
    mould = MouldWork(
        silicone=rubber,
        shell=rigid,
        clay=clay,
        release=release,
        coats=coats,
        shell_kind=kind,
        shell_pieces=len(PIECES_CM3),
        shell_mm=8,
        area_cm2=COVERED_CM2,
        clay_cm3=CLAY_CM3,
        flange_mm=(35, 8),
        bolts=8,
        temperature_c=temperature_c,
    )
    option = Option(2, FILL_CM3, SKIN_CM3, sum(PIECES_CM3), 12.0)
    choice = choice_of(option, silicone=rubber, shell=rigid, kind=kind, price_per_kg=22.0)
    masses = [rigid.estimate("density") * volume for volume in PIECES_CM3]
    shopping = shopping_list(mould, cast, shell_cm3=sum(PIECES_CM3), thickener=thickener)
    rows = (rubber, rigid, clay, release, thickener, cast.resin, cast.powder)
    plan: dict[str, Any] = {
        "job": {"good_castings": 6},
        "assumed": [],
        "own_figures": shelf.own_as_json(),
        "materials": [row.as_json() for row in (*rows, brushing, cast.practice)],
        "steps": [step.as_json() for step in plan_steps(mould, cast)],
        "schedule": plan_schedule(mould, cast).as_json(),
        "shopping": [item.as_json() for item in shopping],
    }
    made = {
        "show_area_cm2": SHOW_CM2,
        "clay_cm3": CLAY_CM3,
        "skin": {
            "thickness_mm": 6.0,
            "volume_cm3": SKIN_CM3,
            "fill_cm3": FILL_CM3,
            "mass_g": skin_mass(**skin).as_json(),
            "mass_why": skin_mass_why(**skin).as_json(),
        },
        "shell": {
            "kind": kind,
            "clearance_mm": 1.5 if kind == "printed" else 0.3,
            "pieces": [
                {"volume_cm3": volume, "mass_g": mass.as_json()["p50"]}
                | {"mass_spread_g": mass.as_json()}
                for volume, mass in zip(PIECES_CM3, masses, strict=True)
            ],
        },
        "options": [choice.as_json() | {"recommended": True, "why": ""}],
        "coats": [coat.as_json() for coat in coats],
    }
    return plan | {"parts": [{"name": "mask", "moulds": [made], "cast": cast.as_json()}]}


class Answer:
    """An answer with its parts at hand: ``v`` the inputs' values, ``r`` the rows by figure."""

    def __init__(self, told: dict[str, Any]) -> None:
        self.v = [entry["value"] for entry in told["inputs"]]
        self.inputs, self.rows = told["inputs"], told["rows"]
        self.r = {row["figure"]: row["typical"] for row in told["rows"]}

    def of(self, end: str) -> list[float]:
        """The values of all inputs whose path ends so."""
        return [i["value"] for i in self.inputs if (i["path"] or "").endswith(end)]

    def row(self, figure: str) -> dict[str, Any]:
        return next(row for row in self.rows if row["figure"] == figure)

    @property
    def warmth(self) -> float:
        kelvin = self.of("temperature_c")[0] + 273.15
        return math.exp(self.r["activation_energy"] * 1000 / 8.314 * (1 / kelvin - 1 / 296.15))


def _b(a: Answer) -> float:
    return a.r["b_per_100a"] / 100


def _net(a: Answer) -> float:
    return a.v[0] * a.v[1] / 10 * a.v[2]


def _cups(a: Answer) -> float:
    """All cups less what ends in the work, for silicone; for resin it is times the castings."""
    cups = [i["value"] for i in a.inputs if ".batches." in (i["path"] or "")]
    net = [i["value"] for i in a.inputs if ".coats." in i["path"] and ".batches." not in i["path"]]
    times = a.of("cast.castings") or [1]
    return times[0] * (sum(cups) - sum(net))


def _flange(a: Answer) -> float:
    return a.v[0] - a.v[1] - a.v[2] * a.v[3] / 10


def _castings(a: Answer) -> float:
    """From the answer that the plan carries: good castings alone are among its inputs."""
    share = 1 - a.r["rejects"] / 100
    tries = math.ceil((a.v[0] + a.r["backup_castings"]) / share - 1e-9)
    return a.r["cleaner_pulls"] + tries


def _rejects(a: Answer) -> float:
    wanted = sum(a.v)
    return math.ceil(wanted / (1 - a.r["rejects"] / 100) - 1e-9) - wanted


def _pull(a: Answer) -> float:
    return a.v[0] / 10 * sum(a.v[1:]) * a.r["density"]


Recomputed = Callable[[Answer], float]

MOULD, CAST = "parts.0.moulds.0.", "parts.0.cast."

COAT: dict[str, Recomputed] = {
    r"a_ml": lambda a: a.v[0] / a.r["part_a_density"],
    r"b_ml": lambda a: a.v[0] / a.r["part_b_density"],
    r"powder_ml": lambda a: a.v[0] / a.r.get("bulk_density", 1.0),
    r"b_g": lambda a: a.v[0] * _b(a),
    r"batches\.\d+\.mixed_g": lambda a: sum(a.v),
    r"batches\.\d+\.area_cm2": lambda a: a.v[0] / a.v[1],
    r"batches\.\d+\.pot_life_min": lambda a: a.r["pot_life"] * a.warmth,
    r"batches\.\d+\.a_ml": lambda a: a.v[0] / a.r["part_a_density"],
    r"batches\.\d+\.b_ml": lambda a: a.v[0] / a.r["part_b_density"],
    r"batches\.\d+\.powder_ml": lambda a: a.v[0] / a.r.get("bulk_density", 1.0),
    r"waste_g": lambda a: sum(a.of("mixed_g")) - sum(a.v[len(a.of("mixed_g")) :]),
}

SILICONE: dict[str, Recomputed] = {
    r"a_g": lambda a: a.v[0] * a.r["density"] / (1 + _b(a)),
    r"volume_cm3#fill": lambda a: a.v[0],
    r"volume_cm3#flange": _flange,
    r"volume_cm3#": lambda a: a.v[0] * a.v[1] / 10,
    r"thickness_mm#bedding": lambda a: a.v[0],
    r"thickness_mm#print": lambda a: a.r["print_coat"],
    r"thickness_mm#thickened": lambda a: (
        (a.v[0] - a.r["print_coat"])
        / max(1, round((a.v[0] - a.r["print_coat"]) / a.r["thickened_coat"]))
    ),
    r"thickener_g#thickened": lambda a: sum(a.v) * a.r["dose"] / 100,
    r"thickener_g#print": lambda a: 0.0,
    r"next_coat_min\.0": lambda a: a.r["recoat_from"] * a.r["pot_life"] * a.warmth,
    r"next_coat_min\.1": lambda a: max(a.r["recoat_until"] * a.r["demould"] * a.warmth, a.v[1]),
}

RESIN: dict[str, Recomputed] = {
    r"area_cm2": lambda a: max(a.v),
    r"thickness_mm#backing": lambda a: (
        (a.v[0] - a.v[1]) / math.ceil((a.v[0] - a.v[1]) / a.row("coat")["high"] - 1e-9)
    ),
    r"a_g": lambda a: _net(a) / (1 + a.v[3]) / (1 + _b(a)),
    r"powder_g": lambda a: _net(a) * a.v[3] / (1 + a.v[3]),
    r"next_coat_min\.0": lambda a: a.r["gel"] * a.warmth,
    r"next_coat_min\.1": lambda a: a.r["demould"] * a.warmth,
    r"demould_min": lambda a: a.v[0],
}

ELSEWHERE: dict[str, Recomputed] = {
    rf"{MOULD}shell\.pieces\.\d+\.mass_g": lambda a: a.v[0] * a.r["density"],
    rf"{MOULD}options\.\d+\.(silicone|fill|shell)_g": lambda a: a.v[0] * a.r["density"],
    rf"{MOULD}options\.\d+\.silicone_cost": lambda a: a.v[0] * a.v[1] / 1000,
    rf"{MOULD}skin\.fill\.places\.\d+\.mass_g": lambda a: a.v[0] * a.r["density"],
    rf"{MOULD}skin\.fill\.rest_g": lambda a: a.v[0] * a.r["density"],
    rf"{MOULD}skin\.fill\.total_cm3": lambda a: sum(a.v),
    rf"{MOULD}skin\.fill\.rest_cm3": lambda a: a.v[0] - sum(a.v[1:]),
    rf"{CAST}castings": _castings,
    rf"{CAST}castings_made_of\.total": _castings,
    rf"{CAST}castings_made_of\.good": lambda a: a.v[0],
    rf"{CAST}castings_made_of\.cleaner": lambda a: a.r["cleaner_pulls"],
    rf"{CAST}castings_made_of\.backup": lambda a: a.r["backup_castings"],
    rf"{CAST}castings_made_of\.rejects": _rejects,
    rf"{CAST}demould_min\.0": lambda a: (
        a.row("thin_wall_demould")["low"] * a.r["demould"] * a.warmth
    ),
    rf"{CAST}demould_min\.1": lambda a: (
        a.row("thin_wall_demould")["high"] * a.r["demould"] * a.warmth
    ),
    rf"{CAST}metal_fraction": lambda a: a.v[0],
    rf"{CAST}waste_g": lambda a: sum(a.v),
    rf"{CAST}trimmed_g": lambda a: sum(a.v[:-2]) * (1 - a.v[-2] / a.v[-1]),
    r"parts\.0\.sizes\.cast\.\d": lambda a: (
        a.v[0] * math.prod(1 - row["typical"] / 100 for row in a.rows)
    ),
    r"schedule\.(mould|casting)_min\.0": lambda a: sum(a.v),
    r"schedule\.castings": lambda a: a.v[0],
    r"schedule\.castings_a_day": lambda a: max(1, 480 // a.v[0]),
    r"schedule\.edition_days": lambda a: math.ceil(a.v[0] / a.v[1]),
    r"shopping\.\d+\.buy": lambda a: sum(a.v),
}

STEPS: dict[str, Recomputed] = {
    r"minutes_least#Seal and release": lambda a: a.r["dry"],
    r"minutes_most#Seal and release": lambda a: a.row("dry")["high"],
    r"minutes_least#Silicone": lambda a: a.r["recoat_from"] * a.r["pot_life"] * a.warmth,
    r"minutes_most#Silicone": lambda a: max(
        a.r["recoat_until"] * a.r["demould"] * a.warmth,
        a.r["recoat_from"] * a.r["pot_life"] * a.warmth,
    ),
    r"minutes_least#Bed the": lambda a: a.r["recoat_from"] * a.r["pot_life"] * a.warmth,
    r"minutes_least#Shell": lambda a: a.row("piece_wait")["low"],
    r"minutes_most#Shell": lambda a: a.row("piece_wait")["high"],
    r"minutes_least#Let the silicone": lambda a: a.row("demould")["low"] * a.warmth,
    r"minutes_most#Let the silicone": lambda a: a.row("demould")["high"] * a.warmth,
    r"minutes_least#Let the open": lambda a: max(
        0.0, a.row("first_resin_after")["low"] - a.r["demould"] * a.warmth
    ),
    r"minutes_most#Let the open": lambda a: (
        a.row("first_resin_after")["high"] - a.r["demould"] * a.warmth
    ),
    r"minutes_least#Close": lambda a: a.row("dry")["low"],
    r"minutes_most#Close": lambda a: a.row("dry")["high"],
    r"minutes_least#Cast: ": lambda a: a.r["gel"] * a.warmth,
    r"minutes_most#Cast: ": lambda a: a.r["demould"] * a.warmth,
    r"minutes_(least|most)#Let the casting": lambda a: a.v[0],
    r"minutes_least#Prove": lambda a: 12 * 60,
    r"minutes_most#Prove": lambda a: 24 * 60,
    r"cups#Silicone": lambda a: a.v[-1],
    r"cups#Cast: ": lambda a: a.v[-1],
    r"amounts\.0\.value#Set the master": lambda a: a.v[0] * a.r["density"],
    r"amounts\.0\.value#Seal": lambda a: 2 * a.v[0] / 100 * a.r["use"],
    r"amounts\.\d\.value#(Silicone|Bed the|Cast: )": lambda a: sum(a.v),
}

SHOPPING: dict[str, Recomputed] = {
    r"net#(tin-cure|platinum|liquid silicone thickener)": lambda a: sum(a.v),
    r"waste#(tin-cure|platinum|rigid urethane|bronze|polyester|epoxy)": _cups,
    r"net#(rigid urethane|bronze|polyester|epoxy)": lambda a: a.v[0] * sum(a.v[1:]),
    r"net#(plaster bandage|printed plastic)": lambda a: sum(a.v) * a.r["density"],
    r"net#laminating": lambda a: sum(a.v) * a.r["density"] * (1 - a.r["glass_share"] / 100),
    r"net#chopped": lambda a: sum(a.v) * a.r["density"] * a.r["glass_share"] / 100,
    r"net#oil clay": lambda a: a.v[0] * a.r["density"],
    r"net#wax release": lambda a: (2 + a.v[0]) * a.v[1] / 100 * a.r["use"],
    r"waste#(plaster|printed plastic|laminating|chopped|oil clay)": lambda a: (
        a.v[0] * a.r["waste"] / 100
    ),
}


GROUPS: tuple[tuple[str, str, dict[str, Recomputed]], ...] = (
    (rf"{MOULD}coats\.\d+\.", "name", COAT | SILICONE),
    (rf"{CAST}coats\.\d+\.", "name", COAT | RESIN),
    (r"steps\.\d+\.", "title", STEPS),
    (r"shopping\.\d+\.", "item", SHOPPING),
    ("", "", ELSEWHERE),
)


def worked_out(plan: dict[str, Any], path: str, told: dict[str, Any]) -> float | None:
    """The number anew from what its answer names; None where the answer cannot give it."""
    cup = re.fullmatch(r"(.*coats\.\d+)\.batches\.\d+\.(a|b|powder)_g", path)
    answer = Answer(told)
    if cup:
        return _cup(value_at(plan, cup[1]), answer)
    for begins, name_key, table in GROUPS:
        if not re.match(begins, path):
            continue
        item = re.match(begins, path)[0].rstrip(".")  # type: ignore[index]
        name = str(value_at(plan, f"{item}.{name_key}")) if name_key else ""
        for key, work_out in table.items():
            tail, _, named = key.partition("#")
            if re.fullmatch(begins + tail, path) and re.match(named, name):
                return work_out(answer)
    return None


def _cup(coat: dict[str, Any], a: Answer) -> float:
    """One cup's share of the coat and the waste for its size."""
    net_g = coat["a_g"] + coat["b_g"] + coat.get("powder_g", 0.0)
    waste = "waste_large" if net_g / len(coat["batches"]) > 300 else "waste_small"
    return a.v[0] / a.v[1] * (1 + a.r[waste] / 100)


def slack(path: str, value: float, inputs: int) -> float:
    """What rounding may hide: half the last figure of the number, 0.7 % by its inputs."""
    if path.startswith("schedule."):
        return 0.51 * max(inputs, 1)
    last = path.rpartition(".")[2]
    whole = "min" in path or last in ("cups", "castings") or last.endswith("_days")
    rough = 0.51 if whole or re.search(r"options\.\d+\.\w+_g$", path) else 0.06
    return rough + 0.007 * abs(value)
