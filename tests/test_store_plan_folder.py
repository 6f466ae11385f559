"""A plan's folder appears finished or not at all, and nobody else's files are touched."""

from __future__ import annotations

import errno
import json
import os
import shutil
import signal
import subprocess
import sys
import textwrap
import time
from collections import namedtuple
from pathlib import Path

import pytest

from firstpull.files import plan_folder
from firstpull.files.plan_folder import BadFolder, DiscFull, PlanFolder

PLAN = {"schema": 1, "assumed": [], "parts": []}


def write(out: Path, body: bytes = b"solid", extra: str | None = None) -> None:
    with PlanFolder(out) as folder:
        folder.write_bytes("mask/mould/body.stl", body)
        if extra:
            folder.write_bytes(extra, b"more")
        folder.write_plan(PLAN)


def tree(home: Path) -> list[str]:
    return sorted(p.relative_to(home).as_posix() for p in home.rglob("*") if p.is_file())


def test_a_plan_lists_its_files_and_leaves_nothing_else(tmp_path: Path) -> None:
    write(tmp_path / "plan")
    assert tree(tmp_path) == ["plan/mask/mould/body.stl", "plan/plan.json"]
    plan = json.loads((tmp_path / "plan/plan.json").read_text())
    assert plan == {**PLAN, "files": ["mask/mould/body.stl", "plan.json"]}
    assert (tmp_path / "plan").stat().st_mode & 0o777 == 0o777 & ~plan_folder._umask()


def test_an_earlier_plan_is_replaced_whole(tmp_path: Path) -> None:
    write(tmp_path / "plan", extra="mask/mould/shell-2.stl")
    write(tmp_path / "plan", body=b"newer")
    assert tree(tmp_path) == ["plan/mask/mould/body.stl", "plan/plan.json"]
    assert (tmp_path / "plan/mask/mould/body.stl").read_bytes() == b"newer"


def test_an_empty_folder_is_taken(tmp_path: Path) -> None:
    (tmp_path / "plan").mkdir()
    write(tmp_path / "plan")
    assert "plan/plan.json" in tree(tmp_path)


@pytest.mark.parametrize("broken_plan", ["not json", "[]", "{}", '{"schema": 1, "files": 3}'])
def test_a_folder_without_a_sound_earlier_plan_is_left_alone(tmp_path, broken_plan) -> None:
    (tmp_path / "plan").mkdir()
    (tmp_path / "plan/plan.json").write_text(broken_plan)
    (tmp_path / "plan/notes.txt").write_text("mine")
    before = tree(tmp_path)
    with pytest.raises(BadFolder, match=r"notes.txt.*only an earlier plan is replaced"):
        write(tmp_path / "plan")
    assert tree(tmp_path) == before


def test_a_note_added_to_an_earlier_plan_is_not_lost(tmp_path: Path) -> None:
    write(tmp_path / "plan")
    (tmp_path / "plan/notes.txt").write_text("bolts are M6")
    with pytest.raises(BadFolder, match=r"notes\.txt"):
        write(tmp_path / "plan", body=b"newer")
    assert (tmp_path / "plan/mask/mould/body.stl").read_bytes() == b"solid"


def test_bad_places_are_refused_by_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(BadFolder, match="is a file"):
        write(tmp_path / "file")
    with pytest.raises(BadFolder, match=r"missing.* does not exist"):
        write(tmp_path / "missing" / "plan")
    with pytest.raises(BadFolder, match="does not exist"):
        write(tmp_path / "file" / "plan")
    monkeypatch.chdir(tmp_path)
    for here in (".", ".."):
        with pytest.raises(BadFolder, match="where you are working"):
            write(Path(here))
    assert tree(tmp_path) == ["file"]


def test_a_folder_that_may_not_be_written_is_refused(tmp_path: Path) -> None:
    """In a process without root's rights, which no mode bit stops."""
    shut = tmp_path / "shut"
    shut.mkdir()
    shut.chmod(0o555)
    script = textwrap.dedent(f"""
        import os
        from pathlib import Path
        from firstpull.files.plan_folder import BadFolder, PlanFolder
        if os.getuid() == 0:
            os.setuid(65534)
        try:
            with PlanFolder(Path({str(shut)!r}) / "plan"):
                pass
        except BadFolder as refusal:
            print(refusal)
    """)
    for parent in [tmp_path, *tmp_path.parents]:
        mode, owner = parent.stat().st_mode, parent.stat().st_uid
        if owner == os.getuid() and mode & 0o111 != 0o111:
            parent.chmod(mode | 0o111)
    told = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True)
    assert "cannot be written to (permission denied)" in told.stdout, told.stderr


def test_a_disc_that_fills_up_says_what_was_needed_and_leaves_nothing(tmp_path: Path) -> None:
    write(tmp_path / "plan")
    with (
        pytest.raises(DiscFull, match=r"MB free\); it needs 3\.0 MB"),
        PlanFolder(tmp_path / "plan") as folder,
    ):
        folder.expect(3_000_000)
        folder.write_bytes("mask/master.stl", b"part of it")
        with folder.writing("mask/mould/skin.stl"), Path("/dev/full").open("wb", 0) as full:
            full.write(b"x")
    assert tree(tmp_path) == ["plan/mask/mould/body.stl", "plan/plan.json"]


def test_too_little_room_is_seen_before_writing(tmp_path, monkeypatch) -> None:
    usage = namedtuple("usage", "total used free")
    monkeypatch.setattr(shutil, "disk_usage", lambda path: usage(10, 8, 2_000_000))
    with (
        pytest.raises(DiscFull, match=r"\(2\.0 MB free\); it needs 45\.0 MB"),
        PlanFolder(tmp_path / "plan") as folder,
    ):
        folder.expect(45_000_000)
    assert tree(tmp_path) == [] and list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("error", [KeyboardInterrupt, RuntimeError, SystemExit])
def test_every_way_out_removes_the_unfinished_folder(tmp_path, error) -> None:
    write(tmp_path / "plan")
    with pytest.raises(error), PlanFolder(tmp_path / "plan") as folder:
        folder.write_bytes("mask/master.stl", b"half")
        raise error
    assert tree(tmp_path) == ["plan/mask/mould/body.stl", "plan/plan.json"]


def test_an_earlier_plan_comes_back_when_the_last_rename_fails(tmp_path, monkeypatch) -> None:
    write(tmp_path / "plan")
    rename = Path.rename

    def refuse(self: Path, target: Path) -> Path:
        if ".new-" in self.name:
            raise OSError(errno.EIO, "Input/output error")
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", refuse)
    with pytest.raises(BadFolder, match="input/output error"):
        write(tmp_path / "plan", body=b"newer")
    assert tree(tmp_path) == ["plan/mask/mould/body.stl", "plan/plan.json"]
    assert (tmp_path / "plan/mask/mould/body.stl").read_bytes() == b"solid"


KILLED = """
    import os, signal, time
    from pathlib import Path
    from firstpull.files import plan_folder
    out = Path({out!r})
    rename = Path.rename
    def stop(self, target):
        if {when!r} == "between" and ".new-" in self.name:
            os.kill(os.getpid(), signal.SIGKILL)
        return rename(self, target)
    Path.rename = stop
    with plan_folder.PlanFolder(out) as folder:
        folder.write_bytes("mask/mould/body.stl", b"newer")
        if {when!r} == "writing":
            os.kill(os.getpid(), signal.SIGKILL)
        folder.write_plan({{"schema": 1}})
"""


@pytest.mark.parametrize("when", ["writing", "between"])
def test_a_kill_in_the_middle_loses_nothing(tmp_path: Path, when: str) -> None:
    """Killed outright: the earlier plan stays whole, and the next run clears up."""
    out = tmp_path / "plan"
    write(out)
    script = textwrap.dedent(KILLED.format(out=str(out), when=when))
    killed = subprocess.run([sys.executable, "-c", script])
    assert killed.returncode == -signal.SIGKILL
    assert len(list(tmp_path.iterdir())) > 1
    with pytest.raises(RuntimeError), PlanFolder(out):
        raise RuntimeError("only clearing up")
    assert tree(tmp_path) == ["plan/mask/mould/body.stl", "plan/plan.json"]
    assert (out / "mask/mould/body.stl").read_bytes() == b"solid"


def test_a_plan_being_written_beside_is_left_alone(tmp_path: Path) -> None:
    other = tmp_path / f".plan.new-{os.getpid()}-x"
    other.mkdir()
    stale = tmp_path / ".plan.new-999999999-x"
    stale.mkdir()
    write(tmp_path / "plan")
    assert other.exists() and not stale.exists()


def test_asked_to_end_it_leaves_nothing(tmp_path: Path) -> None:
    """The command, told to terminate while its plan is being worked out."""
    script = textwrap.dedent(f"""
        import sys, time
        from pathlib import Path
        from firstpull.cli import app
        from firstpull import wiring
        from firstpull.files.plan_folder import PlanFolder
        def slow(request, **more):
            with PlanFolder(request.out_dir) as folder:
                folder.write_bytes("mask/master.stl", b"half")
                Path({str(tmp_path / "started")!r}).write_text("x")
                time.sleep(60)
        wiring.run_plan = slow
        sys.argv = ["firstpull", "demo", "--out", {str(tmp_path / "plan")!r}]
        app.main()
    """)
    for number, code in ((signal.SIGTERM, 143), (signal.SIGINT, 130)):
        run = subprocess.Popen([sys.executable, "-c", script], stderr=subprocess.PIPE, text=True)
        for _ in range(400):
            if (tmp_path / "started").exists():
                break
            time.sleep(0.05)
        run.send_signal(number)
        _, errors = run.communicate(timeout=20)
        assert run.returncode == code
        assert "Traceback" not in errors
        assert tree(tmp_path) == ["started"]
        (tmp_path / "started").unlink()
