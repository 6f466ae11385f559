"""Goes over meshes one at a time, each in a process of its own with limits of time and memory."""

from __future__ import annotations

import importlib
import multiprocessing
import os
import pkgutil
import resource
import signal
import traceback
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from multiprocessing.connection import Connection

import firstpull.core.mesh
import firstpull.files
from corpus_examine import DONE, FAILED, PROVING, READING, Hook, Row, examined
from corpus_meshes import CorpusMesh

MOST_S = 60
"""Of the processor, on one thread, so that what else runs on the machine does not count."""

MOST_WAIT_S = 600.0
MOST_BYTES = 4 << 30
PROOF_S = 300
"""The exact kernel is slow on large meshes; its time is not the program's."""


def rows_of(
    meshes: Iterable[CorpusMesh],
    *,
    before: Hook | None = None,
    progress: Callable[[Row], None] = lambda row: None,
) -> Iterator[Row]:
    """The row of each mesh, in order; a crash, a hang or too much memory is a row as well."""
    _loaded()
    for mesh in meshes:
        row = in_its_own_process(mesh, before=before)
        progress(row)
        yield row


def _loaded() -> None:
    """Everything a child imports, imported once: a child is a copy of this process."""
    for package in (firstpull.core.mesh, firstpull.files):
        for module in pkgutil.iter_modules(package.__path__, f"{package.__name__}."):
            importlib.import_module(module.name)
    for name in ("embreex", "igl.copyleft.cgal", "manifold3d", "scipy.sparse", "trimesh"):
        importlib.import_module(name)


def in_its_own_process(mesh: CorpusMesh, *, before: Hook | None = None) -> Row:
    """One mesh examined in a child that may take 60 s and 4 GB until mending is done."""
    fork = multiprocessing.get_context("fork")
    ours, theirs = fork.Pipe(duplex=False)
    child = fork.Process(target=_child, args=(mesh, theirs, before))
    child.start()
    theirs.close()
    try:
        row, doing, waited = _heard(ours, Row(mesh.source, mesh.id, mesh.format))
        if waited:
            child.kill()
        child.join()
    finally:
        child.kill()
        ours.close()
    if doing == DONE:
        return row
    slow = waited or child.exitcode == -signal.SIGXCPU
    limit_s = MOST_WAIT_S if waited else MOST_S if doing != PROVING else PROOF_S
    sentence = f"{doing} was not done after {limit_s:g} s" if slow else f"crashed in {doing}"
    return replace(row, verdict=FAILED, sentence=sentence)


def _heard(ours: Connection, row: Row) -> tuple[Row, str, bool]:
    """What the child sent last, what it was doing then, and whether it still is."""
    doing = READING
    while doing != DONE:
        if not ours.poll(MOST_WAIT_S):
            return row, doing, True
        try:
            row, doing = ours.recv()
        except EOFError:
            return row, doing, False
    return row, doing, False


def _child(mesh: CorpusMesh, theirs: Connection, before: Hook | None) -> None:
    row = Row(mesh.source, mesh.id, mesh.format)

    def told(so_far: Row, doing: str) -> None:
        nonlocal row
        row = so_far
        theirs.send((row, doing))
        if doing == PROVING:
            _limit(resource.RLIMIT_AS, resource.RLIM_INFINITY)
            _limit(resource.RLIMIT_CPU, int(row.seconds) + PROOF_S)

    try:
        data = mesh.content()
        _limit(resource.RLIMIT_AS, MOST_BYTES)
        _limit(resource.RLIMIT_CPU, MOST_S)
        row = examined(row, data, told=told, before=before)
    except MemoryError:
        row = replace(row, verdict=FAILED, sentence="took more than 4 GB")
    except BaseException as fault:
        row = replace(row, verdict=FAILED, sentence=_said(fault))
    theirs.send((row, DONE))
    theirs.close()
    os._exit(0)


def _limit(what: int, most: int) -> None:
    """The soft limit of this process alone, up to the hard one."""
    hard = resource.getrlimit(what)[1]
    if hard != resource.RLIM_INFINITY:
        most = hard if most == resource.RLIM_INFINITY else min(most, hard)
    resource.setrlimit(what, (most, hard))


def _said(fault: BaseException) -> str:
    """An exception with the line where it arose, in one line."""
    frames = traceback.extract_tb(fault.__traceback__)
    ours = [frame for frame in frames if "firstpull" in frame.filename] or frames
    where = f"{os.path.basename(ours[-1].filename)}:{ours[-1].lineno}"  # noqa: PTH119
    return f"{type(fault).__name__} in {where}: {str(fault)[:160]}"
