"""The corpus in words and tables, for docs/corpus.md."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence

from corpus_examine import FAILED, LEFT_OUT, MENDED, REBUILT, REFUSED, SOUND, UNREADABLE, Row

ORDER = (FAILED, SOUND, MENDED, REBUILT, REFUSED, UNREADABLE, LEFT_OUT)
MEANING = {
    FAILED: "a fault of the program: the proof does not hold, or a limit was passed",
    SOUND: "a closed solid as it came; not a triangle was changed",
    MENDED: "now a closed solid; all but what is named kept its triangles",
    REBUILT: "now a closed solid, its whole surface made anew at the stated step",
    REFUSED: "left to a person, with a sentence that says what stands in the way",
    UNREADABLE: "not read, with a sentence that says why",
    LEFT_OUT: "larger than the program takes on",
}
SECONDS = ((2.0, "<2 s"), (5.0, "2-5 s"), (20.0, "5-20 s"), (float("inf"), "20-60 s"))
MEGABYTES = ((500.0, "<0.5 GB"), (1000.0, "0.5-1 GB"), (2000.0, "1-2 GB"), (1e18, "2-4 GB"))

HEAD = """# The corpus: open meshes, mended and proved

Every mesh that a few open packages carry, in the formats that the program reads, was read,
checked and mended with the defaults. Made again by one command, once `.ci/run` has unpacked
the Debian packages: `python tools/corpus.py --fetch --write docs/corpus.md`. Only the classes
of time and memory may change from one machine to the next.

- A mesh is known by its package, the first eight digits of the SHA-256 of its file, its format
  and its count of triangles. Most are no props; they are here because they are broken in ways
  that nobody here planted.
- Unit: as the file or the size suggests. A mesh that no unit makes 40 to 3000 mm long was
  scaled to 200 mm.
- Proof, for each mesh called sound or mended, by other means than the program's: trimesh finds
  it closed, wound one way and of positive volume; the exact kernel of CGAL, through libigl,
  finds no two faces that cross (corners at one place merged); manifold3d takes it as a solid;
  trimesh and libigl find the same volume but for rounding.
- Limits: 60 s on one thread of the processor and 4 GB for each mesh, in a process of its own,
  the proof not counted. Memory includes about 0.2 GB for the program itself, and time about
  0.6 s to load it.
"""


def corpus_page(rows: Sequence[Row]) -> str:
    """The page: counts first, then why meshes were refused, then each mesh by verdict."""
    parts = [HEAD, _summary(rows), _reasons(rows)]
    for verdict in ORDER:
        chosen = [row for row in rows if row.verdict == verdict]
        if chosen:
            parts.append(_group(verdict, chosen))
    return "\n".join(parts)


def _summary(rows: Sequence[Row]) -> str:
    sources = sorted({row.source for row in rows})
    count = Counter((row.verdict, row.source) for row in rows)
    lines = [
        [verdict, *(str(count[verdict, source]) for source in sources),
         str(sum(count[verdict, source] for source in sources)), MEANING[verdict]]
        for verdict in ORDER
    ]  # fmt: skip
    total = ["all", *(str(sum(r.source == s for r in rows)) for s in sources), str(len(rows)), ""]
    formats = Counter(row.format for row in rows)
    told = ", ".join(f"{count} {name.upper()}" for name, count in sorted(formats.items()))
    head = ["verdict", *sources, "all", "what it means"]
    return f"## In short\n\n{_table(head, [*lines, total])}\n\nFormats: {told}.\n"


def _reasons(rows: Sequence[Row]) -> str:
    reasons = Counter(
        (row.verdict, row.code, _reason(row.sentence))
        for row in rows
        if row.verdict in (REFUSED, UNREADABLE)
    )
    if not reasons:
        return ""
    lines = [
        [verdict, code, reason, str(count)]
        for (verdict, code, reason), count in sorted(reasons.items(), key=lambda i: (-i[1], i[0]))
    ]
    return "## Why not\n\n" + _table(["verdict", "code", "reason", "meshes"], lines) + "\n"


def _reason(sentence: str) -> str:
    """A refusal without its numbers, so that equal reasons count as one."""
    import re

    first = sentence.split(". ")[0].rstrip(".")
    plain = re.sub(r"-?\d[\d.,]*(e[-+]?\d+)?", "…", first)
    return re.sub(r"\b(place|edge|triangle|corner)s?\b", r"\1(s)", plain)


def _group(verdict: str, rows: Iterable[Row]) -> str:
    told: dict[str, tuple[str, Callable[[Row], str]]] = {
        FAILED: ("what is wrong", lambda row: row.sentence),
        SOUND: ("remarks", lambda row: _listed(row.found)),
        MENDED: ("what was changed", lambda row: _listed(row.changed)),
        REBUILT: ("what was changed", lambda row: _listed(row.changed)),
        REFUSED: ("why", lambda row: f"{row.code}: {row.sentence}"),
        UNREADABLE: ("why", lambda row: f"{row.code}: {row.sentence}"),
        LEFT_OUT: ("why", lambda row: row.sentence),
    }
    title, last = told[verdict]
    lines = [
        [row.id, row.source, row.format, f"{row.triangles:,}", row.size,
         _class(row.seconds, SECONDS), _class(row.peak_mb, MEGABYTES), last(row)]
        for row in sorted(rows, key=lambda row: (row.source, row.id))
    ]  # fmt: skip
    head = ["mesh", "package", "format", "triangles", "size", "time", "memory", title]
    name = verdict if verdict == FAILED else verdict.capitalize()
    return f"## {name}: {len(lines)}\n\n{_table(head, lines)}\n"


def _listed(counts: dict[str, float] | None) -> str:
    """Counts by name in words.

    >>> _listed({"vertices_merged": 12, "rebuilt_at_step_mm": 0.5})
    'vertices merged: 12, rebuilt at step: 0.5 mm'
    """
    told = []
    for name, count in (counts or {}).items():
        unit = " mm" if name.endswith("_mm") else ""
        told.append(f"{name.removesuffix('_mm').replace('_', ' ')}: {count:,g}{unit}")
    return ", ".join(told)


def _class(value: float, classes: Sequence[tuple[float, str]]) -> str:
    return next(name for limit, name in classes if value < limit)


def _table(head: Sequence[str], lines: Iterable[Sequence[str]]) -> str:
    rows = [head, ["---"] * len(head), *lines]
    return "\n".join("| " + " | ".join(c.replace("|", "/") for c in row) + " |" for row in rows)
