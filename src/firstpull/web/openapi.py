"""The interface's document on standard output: ``python -m firstpull.web.openapi``."""

from __future__ import annotations

import json
import sys
from typing import Any

from firstpull.web.app import create_app
from firstpull.web.events import EventHub
from firstpull.web.guard import Door
from firstpull.web.serve import PORT


def document() -> dict[str, Any]:
    """The document, made without a workspace; addresses in the order of their routes."""
    nobody: Any = None
    return create_app(nobody, EventHub(), Door(PORT)).openapi()


def main() -> None:
    """Print it; the same text for the same program."""
    sys.stdout.write(json.dumps(document(), indent=1, ensure_ascii=False) + "\n")


if __name__ == "__main__":
    main()
