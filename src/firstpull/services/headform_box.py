"""The plain head as a raw container, made once, in a process of its own."""

from __future__ import annotations

import threading

from firstpull.core.progress import Progress, quiet
from firstpull.services.worker import run_in_worker


class HeadformBox:
    """Makes the head's box once and keeps its bytes, a third of a megabyte; thread-safe."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._box: bytes | None = None

    def content(self, cancel: threading.Event | None = None) -> bytes:
        """The box: positions and indices in mm, z up, facing -y; the measures in its meta.

        Args:
            cancel: set from another thread to call the making off.

        Raises:
            Cancelled: it was called off.
            WorkerLost: the process that makes it ended.
        """
        with self._lock:
            if self._box is None:
                self._box = run_in_worker(make_headform_box, cancel=cancel)
            return self._box


def make_headform_box(*, progress: Progress = quiet) -> bytes:
    """The box as bytes. Called in a worker: it needs the geometry."""
    from firstpull.files.mesh_box import box_blocks, mesh_arrays
    from firstpull.services.headform import plain_headform

    progress("shaping the head", 0.0)
    head = plain_headform()
    return b"".join(box_blocks(mesh_arrays(head.mesh), head.as_json()))
