#!/usr/bin/env python3
"""Mends every open mesh of the corpus and proves each result by other means.

    python tools/corpus.py                        all meshes, one line each
    python tools/corpus.py --write docs/corpus.md and the page with the table of verdicts
    python tools/corpus.py --only 1a2b3c4d        some meshes, by id
    python tools/corpus.py --fetch                first fetch the registry's packages

The Debian packages are unpacked, not installed, as .ci/run does it. Exits with 1 where a row
is FAILED.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from pathlib import Path

os.environ.setdefault("NUMBA_NUM_THREADS", "1")

from corpus_examine import FAILED, Row
from corpus_meshes import FOLDER, corpus_meshes, fetch_registry
from corpus_run import rows_of
from corpus_table import corpus_page


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--folder", type=Path, default=FOLDER, help="where the meshes are")
    parser.add_argument("--fetch", action="store_true", help="fetch the registry's packages first")
    parser.add_argument("--only", nargs="+", metavar="ID", help="these meshes only")
    parser.add_argument("--first", type=int, metavar="N", help="N meshes, spread over all")
    parser.add_argument("--write", type=Path, metavar="PAGE", help="write the page")
    parser.add_argument("--rows", type=Path, metavar="FILE", help="write the rows, a JSON a line")
    asked = parser.parse_args()
    if asked.fetch:
        fetch_registry(asked.folder)
    meshes = corpus_meshes(asked.folder)
    if asked.only:
        meshes = [mesh for mesh in meshes if mesh.id in asked.only]
    if asked.first:
        meshes = meshes[:: max(1, len(meshes) // asked.first)]
    if not meshes:
        sys.exit(f"No mesh in {asked.folder}: unpack the packages there, as .ci/run does.")
    rows = list(rows_of(meshes, progress=_print))
    if asked.rows:
        asked.rows.write_text("".join(json.dumps(row.as_json()) + "\n" for row in rows))
    if asked.write:
        asked.write.write_text(corpus_page(rows), encoding="utf-8")
    return 1 if any(row.verdict == FAILED for row in rows) else 0


def _print(row: Row) -> None:
    said = row.sentence or row.changed or ""
    print(
        f"{row.id} {row.format} {row.triangles:>8} {row.seconds:5.1f} s {row.peak_mb:5.0f} MB"
        f"  {row.verdict}  {said}",
        flush=True,
    )


if __name__ == "__main__":
    sys.exit(main())
