"""The printed packet: a plan and its pictures become pages that survive resin."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Mapping
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

from firstpull.packet import moulding, palette, summary
from firstpull.packet.album import picture_key
from firstpull.packet.format import kept_together, plain, shortened
from firstpull.packet.gauge_sheets import Paper, fill_page, gauge_pages
from firstpull.packet.own_figures import mark_own, own_rows

TEMPLATES = ("packet.typ", "look.typ", "pages.typ", "gauges.typ")
SIDES = ("front", "right", "back", "left")


def make_packet(
    plan: Mapping[str, Any], pictures: Mapping[str, bytes], *, paper: Paper = "a4"
) -> bytes:
    """The packet as PDF bytes; the same plan and pictures give the same bytes.

    Args:
        plan: as in docs/plan.md; keys that are absent leave their place on the page out.
        pictures: PNG bytes by the names of `album.picture_key`; any may be missing.
        paper: "a4" or "letter".
    """
    import typst

    data = page_data(plan, pictures, paper=paper)
    text = kept_together(json.dumps(data, ensure_ascii=False))
    sources = files("firstpull.packet")
    with tempfile.TemporaryDirectory(prefix="firstpull-packet-") as folder:
        desk = Path(folder)
        for name in TEMPLATES:
            (desk / name).write_bytes(sources.joinpath(name).read_bytes())
        (desk / "data.json").write_text(text, encoding="utf-8")
        for key, image in pictures.items():
            (desk / f"{key}.png").write_bytes(image)
        with as_file(sources.joinpath("fonts")) as fonts:
            pdf: bytes = typst.compile(
                str(desk / TEMPLATES[0]),
                root=folder,
                font_paths=[str(fonts)],
                ignore_system_fonts=all(_is_covered(c) for c in text),
                format="pdf",
            )
    return pdf


def _is_covered(letter: str) -> bool:
    """Whether the fonts that come along hold a letter: Latin and general punctuation."""
    code = ord(letter)
    return code < 0x250 or 0x2000 <= code < 0x2300


def page_data(
    plan: Mapping[str, Any], pictures: Mapping[str, bytes], *, paper: Paper = "a4"
) -> dict[str, Any]:
    """All words and figures of the pages, formatted; the template only lays them out."""
    job = plan.get("job") or {}
    parts = plan.get("parts") or []
    name = str(job.get("name") or "Unnamed job")
    data = {
        "paper": "us-letter" if paper == "letter" else "a4",
        "colours": {
            n: palette.hex_of(getattr(palette, n.upper()))
            for n in ("accent", "ink", "master", "clay", "silicone", "shell", "loose")
        },
        "job": name,
        "job_short": shortened(name, 64),
        "job_pt": 27 if len(name) <= 34 else 20 if len(name) <= 70 else 14,
        "made_on": str(job.get("made_on") or ""),
        "good": plain(job["good_castings"]) if job.get("good_castings") else "",
        "parts": [_part(plan, job, p, n, pictures, paper) for n, p in enumerate(parts, start=1)],
        "assumed": summary.assumptions(plan),
        "own": own_rows(plan),
        "steps": summary.steps(plan),
        "schedule": summary.schedule(plan),
        "shopping": summary.shopping(plan),
        "cautions": summary.cautions(plan),
    }
    mark_own(data, plan)
    return data


def _part(
    plan: Mapping[str, Any],
    job: Mapping[str, Any],
    part: Mapping[str, Any],
    number: int,
    pictures: Mapping[str, bytes],
    paper: Paper,
) -> dict[str, Any]:
    def shown(view: str, mould: int | None = None) -> str | None:
        key = picture_key(number, view, mould=mould)
        return f"{key}.png" if key in pictures else None

    moulds = []
    for index, mould in enumerate(part.get("moulds") or [], start=1):
        page = moulding.mould_page(mould)
        page["sides"] = [{"name": s, "file": shown(s, index)} for s in SIDES if shown(s, index)]
        page |= {view: shown(view, index) for view in ("exploded", "section")}
        fill = (mould.get("skin") or {}).get("fill") or {}
        views = [shown(f"fill-{n}", index) for n in (1, 2)]
        page["fill"] = fill_page(fill, [view for view in views if view])
        page["gauges"] = gauge_pages(fill, paper=paper)
        moulds.append(page)
    master = part.get("master") or {}
    name = str(part.get("name") or job.get("part") or f"part {number}")
    return {
        "name": name,
        "short": shortened(name, 36),
        "hero": shown("hero"),
        "findings_picture": shown("findings"),
        "summary": summary.summary(plan, part),
        "measures": summary.measures(part),
        "findings": summary.findings(master),
        "mended": summary.changed(master.get("mended")),
        "mending": [str(note) for note in master.get("mended_notes") or ()],
        "moulds": moulds,
        "cast": moulding.cast_page(part.get("cast")),
        "log_rows": _log_rows(part.get("cast") or {}),
    }


def _log_rows(cast: Mapping[str, Any]) -> int:
    """Lines of the pull log on the mould card: one a casting, as many as the card holds."""
    castings = cast.get("castings")
    return min(max(castings if isinstance(castings, int) else 0, 10), 18)
