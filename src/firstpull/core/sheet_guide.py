"""The page that explains every field of the job sheet, made from the sheet itself."""

from __future__ import annotations

from firstpull.core.sheet import JobSheet, describe_fields

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


def sheet_guide() -> str:
    """The text of docs/sheet.md: a table for each group of fields."""
    groups: dict[str, list[str]] = {}
    for entry in describe_fields():
        group = entry.name.rpartition(".")[0]
        row = (entry.name.rpartition(".")[2], entry.what, entry.default_words)
        cells = [f"`{row[0]}`", *row[1:], entry.allowed, entry.why]
        groups.setdefault(group, []).append("| " + " | ".join(cells) + " |")
    parts = [_HEAD]
    for group, rows in groups.items():
        model = JobSheet.model_fields[group].annotation if group else None
        about = (model.__doc__ or "").splitlines()[0] if model else "Beside the groups."
        title = f"## {group}" if group else "## On its own"
        table = ["| field | what | default | allowed | why this default |", "|---|---|---|---|---|"]
        parts.append("\n".join([title, "", about, "", *table, *rows, ""]))
    return "\n".join(parts)
