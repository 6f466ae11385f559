"""The broken demo from the command line: written, checked, mended."""

from __future__ import annotations

from pathlib import Path

from typer.testing import CliRunner

from firstpull.cli.app import app


def test_the_broken_mask_is_written_and_check_finds_what_it_says(tmp_path: Path) -> None:
    out = tmp_path / "broken.ply"
    run = CliRunner().invoke(app, ["demo", "--broken", str(out)])
    assert run.exit_code == 0 and out.stat().st_size > 1_000_000
    assert "15 kinds of defects" in run.output and "firstpull check" in run.output
    again = CliRunner().invoke(app, ["demo", "--broken", str(out)])
    assert again.exit_code == 1 and "exists already" in again.output
    checked = CliRunner().invoke(app, ["check", str(out)])
    assert checked.exit_code == 0  # mending removes all that stops print or mould
    for words in ("33 vertices lie exactly on others", "in the middle of another face's edge"):
        assert words in checked.output
    assert "A plan mends it" in checked.output


def test_the_helmet_is_written_sound(tmp_path: Path) -> None:
    out = tmp_path / "helmet.stl"
    run = CliRunner().invoke(app, ["demo", "--helmet", str(out)])
    assert run.exit_code == 0 and out.stat().st_size > 5_000_000
    assert "full helmet" in run.output and "firstpull plan" in run.output
    checked = CliRunner().invoke(app, ["check", str(out), "--json"])
    assert checked.exit_code == 0
    assert '"blocks": true' not in checked.output
