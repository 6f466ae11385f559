"""How does a plan reach the disc? Whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import json
import os
import re
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType
from typing import Any

from firstpull.core.errors import WorkshopError
from firstpull.core.job.refusals import DiscFull

PLAN = "plan.json"


class BadFolder(WorkshopError):
    """A plan cannot be written to this folder."""

    code = "bad-folder"


class PlanFolder:
    """A folder that appears finished, or not at all.

    Files go into a temporary folder beside it, which is renamed into place when the ``with``
    block ends well and removed when it ends any other way. An earlier plan in its place is
    replaced; anything else is left alone and refused.

    Args:
        out: the folder to make; its parent must exist.

    Raises (on entering):
        BadFolder: the parent is missing or not writable; ``out`` is a file, the folder you
            stand in, or holds files that no plan wrote.
    """

    def __init__(self, out: Path | str) -> None:
        self.asked = Path(out)
        self.out = self.asked.resolve()
        self._made: Path | None = None
        self._files: dict[str, int] = {}
        self._bytes_needed = 0

    def __enter__(self) -> PlanFolder:
        _check_parent(self.asked, self.out)
        _recover(self.out)
        _check_replaceable(self.asked, self.out)
        try:
            prefix = _prefix(self.out, "new", os.getpid())
            made = tempfile.mkdtemp(prefix=prefix, dir=self.out.parent)
        except OSError as error:
            raise self._refusal(error) from None
        self._made = Path(made)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        assert self._made is not None
        try:
            if kind is None:
                with self._told():
                    self._made.chmod(0o777 & ~_umask())
                    _put_in_place(self._made, self.out)
        finally:
            shutil.rmtree(self._made, ignore_errors=True)

    @property
    def files(self) -> dict[str, int]:
        """Relative path to size in bytes of every file written so far."""
        return dict(self._files)

    def expect(self, size_bytes: int) -> None:
        """Say how much is about to be written in all.

        Raises:
            DiscFull: there is less room than that.
        """
        self._bytes_needed = size_bytes
        if shutil.disk_usage(self.out.parent).free < size_bytes:
            raise self._full()

    def write_bytes(self, name: str, data: bytes) -> None:
        """Write one file; ``name`` is relative, with "/" between folders."""
        with self.writing(name) as path:
            path.write_bytes(data)

    def write_plan(self, plan: dict[str, Any]) -> None:
        """Write plan.json last: it lists under "files" what the plan consists of."""
        listed = {**plan, "files": sorted([*self._files, PLAN])}
        text = json.dumps(listed, indent=1, ensure_ascii=False, allow_nan=False)
        self.write_bytes(PLAN, (text + "\n").encode())

    @contextlib.contextmanager
    def writing(self, name: str) -> Iterator[Path]:
        """A path to write one file to, its folder made; failures become refusals.

        >>> import tempfile
        >>> with tempfile.TemporaryDirectory() as home:
        ...     with PlanFolder(Path(home) / "plan") as folder:
        ...         with folder.writing("mould/body.stl") as path:
        ...             n = path.write_text("solid")
        ...     print((Path(home) / "plan/mould/body.stl").read_text())
        solid
        """
        assert self._made is not None, "used outside its with block"
        path = (self._made / name).resolve()
        assert path.is_relative_to(self._made.resolve()), name
        with self._told():
            path.parent.mkdir(parents=True, exist_ok=True)
            yield path
            self._files[name] = path.stat().st_size

    @contextlib.contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            raise self._refusal(error) from error

    def _refusal(self, error: OSError) -> WorkshopError:
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            return self._full()
        return _not_writable(self.out.parent, error)

    def _full(self) -> DiscFull:
        free = shutil.disk_usage(self.out.parent).free
        written = sum(self._files.values())
        needed = max(self._bytes_needed, written)
        more = f"it needs {_megabytes(needed)} MB" if needed else "it needs more"
        return DiscFull(
            where=f"The disc that holds {self.out.parent}",
            found=f"has no room for the plan ({_megabytes(free + written)} MB free)",
            limit=more,
            remedy="Make room, or give --out on another disc; nothing was left behind.",
        )


def _check_parent(asked: Path, out: Path) -> None:
    if not out.parent.is_dir():
        raise BadFolder(
            where=f"The folder {out.parent}",
            found="does not exist",
            limit="a plan's folder is made inside one that does",
            remedy="Make it first, or give another --out.",
        )
    if out == Path.cwd() or out in Path.cwd().parents:
        raise BadFolder(
            where=f"The folder {asked}",
            found="is where you are working, or holds it",
            limit="a plan needs a folder of its own",
            remedy=f"Give one inside it, such as --out {asked / 'plan'}.",
        )


def _check_replaceable(asked: Path, out: Path) -> None:
    """Only an empty folder or an earlier plan, with nothing added, may be replaced."""
    if not out.exists():
        return
    if not out.is_dir():
        raise BadFolder(
            where=str(asked), found="is a file", limit="a plan is a folder", remedy=_OTHER
        )
    try:
        found = {p.relative_to(out).as_posix() for p in out.rglob("*") if not p.is_dir()}
    except OSError as error:
        raise _not_writable(out, error) from None
    foreign = sorted(found - _listed(out))
    if foreign:
        more = f" and {len(foreign) - 1} more" if len(foreign) > 1 else ""
        raise BadFolder(
            where=f"The folder {asked}",
            found=f"holds files that no plan wrote ({foreign[0]}{more})",
            limit="only an earlier plan is replaced",
            remedy="Move them away, or give another --out.",
        )


_OTHER = "Give another --out."


def _listed(out: Path) -> set[str]:
    """The files that the plan in this folder says it consists of."""
    try:
        plan = json.loads((out / PLAN).read_bytes())
        if "schema" not in plan:
            return set()
        return {str(name) for name in plan.get("files", [])} | {PLAN}
    except (OSError, ValueError, TypeError):
        return set()


def _not_writable(folder: Path, error: OSError) -> BadFolder:
    return BadFolder(
        where=f"The folder {folder}",
        found=f"cannot be written to ({os.strerror(error.errno or 0).lower()})",
        remedy="Allow it, or give another --out.",
    )


def _prefix(out: Path, what: str, pid: int | str) -> str:
    return f".{out.name}.{what}-{pid}-"


def _put_in_place(made: Path, out: Path) -> None:
    """Rename the new plan into place, the earlier one aside first and back if that fails."""
    if not out.exists():
        made.rename(out)
        return
    aside = Path(tempfile.mkdtemp(prefix=_prefix(out, "old", os.getpid()), dir=out.parent))
    earlier = aside / out.name
    try:
        out.rename(earlier)
        made.rename(out)
    except BaseException:
        if earlier.exists() and not out.exists():
            earlier.rename(out)
        raise
    finally:
        if out.exists():
            shutil.rmtree(aside, ignore_errors=True)


def _recover(out: Path) -> None:
    """Clear up after processes that were killed: an earlier plan back, unfinished ones away."""
    for what in ("old", "new"):
        for left in _left_behind(out, what):
            with contextlib.suppress(OSError):
                if what == "old" and (left / out.name).is_dir() and not out.exists():
                    (left / out.name).rename(out)
            shutil.rmtree(left, ignore_errors=True)


def _left_behind(out: Path, what: str) -> list[Path]:
    """Temporary folders of this plan whose process runs no more."""
    named = re.compile(re.escape(_prefix(out, what, "PID")).replace("PID", r"(\d+)"))
    try:
        matched = [(p, named.match(p.name)) for p in sorted(out.parent.iterdir())]
    except OSError:  # may not be listed: then nothing of ours can be told apart
        return []
    return [
        path
        for path, match in matched
        if match and path.is_dir() and not path.is_symlink() and not _runs(int(match[1]))
    ]


def _runs(pid: int) -> bool:
    if os.name == "nt":
        return True  # signal 0 would end it there; its folder stays
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _megabytes(size_bytes: int) -> str:
    return f"{size_bytes / 1e6:,.1f}"
