"""Check the page: its types, its tests, and that its client is that of the interface as it is.

With --write, the interface's document and the client's types are written anew instead.
"""

from __future__ import annotations

import difflib
import subprocess
import sys
from pathlib import Path

from web_build import UI, PageNotBuilt, node, packages

DOCUMENT, CLIENT = UI / "openapi.json", UI / "src" / "api" / "schema.d.ts"
WRITE = "Run .venv/bin/python tools/page_check.py --write and look at what changed."


def main() -> int:
    packages(for_checks=True)
    if "--write" in sys.argv:
        DOCUMENT.write_text(interface())
        client(CLIENT)
        return 0
    faults = []
    drift = changed(DOCUMENT, interface())
    if drift:
        print(drift)
        faults.append(f"The interface is not the one in ui/{DOCUMENT.name}. {WRITE}")
    else:
        made = UI / "node_modules" / ".schema.d.ts"
        client(made)
        if changed(CLIENT, made.read_text()):
            faults.append(f"The client's types are not made from ui/{DOCUMENT.name}. {WRITE}")
    for words, tool in (
        ("types", ["node_modules/typescript/bin/tsc", "--noEmit"]),
        ("tests", ["node_modules/vitest/vitest.mjs", "run", "--reporter=dot"]),
    ):
        try:
            node(*tool)
        except PageNotBuilt:
            faults.append(f"The page's {words} do not hold.")
    print(*faults, sep="\n")
    return 1 if faults else 0


def interface() -> str:
    """The interface's document as the program writes it now."""
    command = [sys.executable, "-m", "firstpull.web.openapi"]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def client(path: Path) -> None:
    """Types of the client, made from the document."""
    tool = "node_modules/openapi-typescript/bin/cli.js"
    node(tool, DOCUMENT, "--default-non-nullable=false", "-o", path)


def changed(path: Path, now: str) -> str:
    """How a file differs from what it should hold; empty where it does not."""
    kept = path.read_text() if path.exists() else ""
    lines = difflib.unified_diff(kept.splitlines(), now.splitlines(), "kept", "now", lineterm="")
    return "\n".join(list(lines)[:40])


if __name__ == "__main__":
    try:
        sys.exit(main())
    except PageNotBuilt as fault:
        sys.exit(f"{fault}; then run this again.")
