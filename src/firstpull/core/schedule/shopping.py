"""What must be in the house before the work begins: net, waste and their sum."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from firstpull.core.cast.plan import CastPlan
from firstpull.core.material.batch import sum_of
from firstpull.core.material.mix import NOTHING, Amounts
from firstpull.core.material.row import MaterialRow
from firstpull.core.schedule.mould_steps import MouldWork


@dataclass(frozen=True)
class Item:
    """One line of the list.

    Args:
        item: what to buy.
        purpose: what it is for.
        net: what ends in the work.
        waste: what stays in cups, brushes and offcuts.
        unit: "g" or "pcs" or "pairs".
    """

    item: str
    purpose: str
    net: float
    waste: float
    unit: str

    @property
    def buy(self) -> float:
        """Net and waste together."""
        return self.net + self.waste

    def as_json(self) -> dict[str, Any]:
        """The line as plain data."""
        digits = 1 if self.unit == "g" else 0
        net, waste = round(self.net, digits), round(self.waste, digits)
        return {
            "item": self.item,
            "for": self.purpose,
            "net": net,
            "waste": waste,
            "buy": round(net + waste, digits),
            "unit": self.unit,
        }


def shopping_list(
    mould: MouldWork,
    cast: CastPlan,
    *,
    shell_cm3: float,
    thickener: MaterialRow,
) -> tuple[Item, ...]:
    """Totals for one mould and all castings of the edition.

    Args:
        mould: silicone coats, shell, clay, release.
        cast: coats for one casting, and how many castings.
        shell_cm3: volume of all shell pieces.
        thickener: its row; the grams come from the coats.
    """
    makes = cast.castings.total
    edition = f"{makes} casting{'' if makes == 1 else 's'}"
    silicone = _two_parts(
        mould.silicone,
        "skin and bedding of the shell" if mould.bedding else "skin",
        net=_total(coat.amounts for coat in mould.coats),
        mixed=_total(sum_of(coat.batches) for coat in mould.coats),
    )
    resin = _two_parts(
        cast.resin,
        edition,
        net=_total(coat.amounts for coat in cast.coats).scaled(makes),
        mixed=_total(sum_of(coat.batches) for coat in cast.coats).scaled(makes),
        powder=cast.powder,
    )
    dose_g = sum(coat.thickener_g for coat in mould.coats)
    items = [
        *silicone,
        Item(thickener.name, "thickened coats", dose_g, 0.0, "g"),
        *_shell_items(mould, shell_cm3),
        _with_waste(mould.clay, "bank and board", mould.clay_g),
        Item(mould.release.name, "master and castings", _release_g(mould, makes), 0.0, "g"),
        *resin,
        *_sundries(mould, cast),
        *_as_needed(mould),
    ]
    return tuple(item for item in items if item.buy > 0)


def _two_parts(
    row: MaterialRow,
    purpose: str,
    *,
    net: Amounts,
    mixed: Amounts,
    powder: MaterialRow | None = None,
) -> list[Item]:
    a_name, b_name = row.parts or ("A", "B")
    items = [
        Item(f"{row.name}: {a_name}", purpose, net.a_g, mixed.a_g - net.a_g, "g"),
        Item(f"{row.name}: {b_name}", purpose, net.b_g, mixed.b_g - net.b_g, "g"),
    ]
    if powder is not None:
        waste_g = mixed.powder_g - net.powder_g
        items.append(Item(powder.name, f"face coat of {purpose}", net.powder_g, waste_g, "g"))
    return items


def _shell_items(mould: MouldWork, shell_cm3: float) -> list[Item]:
    """The shell's material; a laminate is bought as resin and glass mat."""
    row = mould.shell
    net_g = shell_cm3 * row.typical("density")
    if "glass_share" not in row.figures:
        return [_with_waste(row, "shell", net_g)]
    glass = row.typical("glass_share") / 100
    waste = row.typical("waste") / 100
    return [
        Item(name, "shell", net_g * share, net_g * share * waste, "g")
        for name, share in (
            ("laminating polyester resin and its catalyst", 1 - glass),
            ("chopped-strand glass mat", glass),
        )
    ]


def _with_waste(row: MaterialRow, purpose: str, net_g: float) -> Item:
    return Item(row.name, purpose, net_g, net_g * row.typical("waste") / 100, "g")


def _release_g(mould: MouldWork, castings: int) -> float:
    """The master's coats, and one thin coat before each casting."""
    return mould.release_g + castings * mould.area_cm2 / 100 * mould.release.typical("use")


def _sundries(mould: MouldWork, cast: CastPlan) -> list[Item]:
    """What is forgotten: cups, sticks, brushes, gloves, film, bolts."""
    makes = cast.castings.total
    skin_cups = sum(len(coat.batches) for coat in mould.coats)
    cast_cups = makes * sum(len(coat.batches) for coat in cast.coats)
    cups = skin_cups + cast_cups
    lays = len(mould.coats) + mould.shell_pieces + makes * len(cast.coats)
    film = 1 if mould.shell_kind == "laid" else 0
    return [
        Item("mixing cups, plastic", "two for each mix: stir, then change cup", 2 * cups, 0, "pcs"),
        Item("stirring sticks, plastic", "one for each mix", cups, 0, "pcs"),
        Item(
            "brushes",
            "one for each silicone coat and face coat",
            len(mould.coats) + makes,
            0,
            "pcs",
        ),
        Item(
            "gloves", "a fresh pair for each coat; which kind, see the cautions", lays, 0, "pairs"
        ),
        Item("release film, roll", "between skin and shell", film, 0, "pcs"),
        Item("bolts with washers and wing nuts", "shell flanges", mould.bolts, 0, "pcs"),
        Item("bolts with washers and nuts", "joints of parts", mould.joint_bolts, 0, "pcs"),
        Item("dowels, 5 mm", "joints of parts", mould.joint_dowels, 0, "pcs"),
        Item("respirator cartridges", "as the safety data sheets name them", 1, 0, "pairs"),
    ]


def _as_needed(mould: MouldWork) -> list[Item]:
    """What the steps name and nobody weighs: one of each, more where it runs out."""
    tinted = sum(coat.name.startswith("thickened") for coat in mould.coats) > 1
    return [
        Item("board, sealed, wider than the flange all round", "under the master", 1, 0, "pcs"),
        Item("sealer for print, filler and primer", "master, as needed", 1, 0, "pcs"),
        Item("silicone tint", "every other thickened coat, as needed", int(tinted), 0, "pcs"),
    ]


def _total(amounts: Iterable[Amounts]) -> Amounts:
    result = NOTHING
    for one in amounts:
        result = result + one
    return result
