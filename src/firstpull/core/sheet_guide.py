"""The page that explains every field of the job sheet, made from the sheet itself."""

from __future__ import annotations

from firstpull.core.sheet import JobSheet, describe_fields, describe_list_fields
from firstpull.core.sheet_fields import FieldEntry

_HEAD = """# The job sheet

A job sheet is a YAML file. Every field may be left out; what is left out takes the default below
and is listed as assumed in the plan. A field that the sheet does not know, or a value outside its
range, is refused with the line, the field and what is allowed.

This page is made from the sheet's own schema; change the fields there.

```yaml
job:
  name: heron half-mask for the river parade
  part_name: heron mask
  good_castings: 6
shop:
  temperature_c: 19.5
skin:
  material: silicone-platinum-30a
  thickness_mm: 6
cast:
  resin: urethane-medium
  powder: bronze-irregular
  powder_basis: bulk volume
```
"""


_TABLE = ("| field | what | default | allowed | why this default |", "|---|---|---|---|---|")
_STEERING = """## Steering the shell

Points and directions are in the mesh file's own coordinates, as the modelling program shows them,
so they stay right for a new revision of the mesh that was exported in the same place.
`firstpull lock` writes what a plan chose by itself into the sheet (and `--unlock` takes it out);
with `--for NEW.stl` it carries everything to a revision that lies elsewhere.

```yaml
shell:
  pieces: 2
  walls:
    - {through: [0, 40, 60], facing: [1, 0, 0]}
  pulls: [[1, 0.1, 0.5], [-1, 0.1, 0.5]]
  keep_whole:
    - {at: [32, 55, 78], radius_mm: 14}
  symmetric: yes
```
"""


_PAINT = """## Painting the show surface

The show surface, what the mould copies, is found by itself. Dabs of a brush change it: each is
copied or left, whatever was found, and of two that overlap the later one wins. A dab stays on
its side of the wall. Places are in the mesh file's own coordinates, and `firstpull lock --for`
carries them to a revision that lies elsewhere. What is painted as copied must hang together with
the rest.

```yaml
master:
  paint:
    - {at: [31, 12, 40], radius_mm: 5, copied: yes}
    - {at: [0, -60, 22], radius_mm: 8, copied: no}
```
"""


def sheet_guide() -> str:
    """The text of docs/sheet.md: a table for each group of fields."""
    groups: dict[str, list[str]] = {}
    for entry in describe_fields():
        groups.setdefault(entry.name.rpartition(".")[0], []).append(_row(entry))
    parts = [_HEAD]
    for group, rows in groups.items():
        model = JobSheet.model_fields[group].annotation if group else None
        about = (model.__doc__ or "").splitlines()[0] if model else "Beside the groups."
        title = f"## {group}" if group else "## On its own"
        parts.append("\n".join([title, "", about, "", *_TABLE, *rows, ""]))
    return "\n".join([*parts, _STEERING, *_items("shell"), _PAINT, *_items("master")])


def _items(group: str) -> list[str]:
    """A table for what stands in each list of a group."""
    lists: dict[str, list[str]] = {}
    for entry in describe_list_fields():
        if entry.name.startswith(f"{group}."):
            lists.setdefault(entry.name.rpartition(".")[0], []).append(_row(entry))
    return [
        "\n".join([f"Each of `{name}`:", "", *_TABLE, *rows, ""]) for name, rows in lists.items()
    ]


def _row(entry: FieldEntry) -> str:
    name = entry.name.rpartition(".")[2]
    cells = [f"`{name}`", entry.what, entry.default_words, entry.allowed, entry.why]
    return "| " + " | ".join(cells) + " |"
