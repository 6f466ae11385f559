"""Who hears of changes? Every open page, through one stream of events."""

from __future__ import annotations

import asyncio
import json
import threading
from collections.abc import AsyncIterator
from dataclasses import dataclass, field
from typing import Any

HEARTBEAT_SECONDS = 15.0
MOST_WAITING = 256
"""Events that one listener may be behind with; then it is told to read everything anew."""

HEARTBEAT = b": still here\n\n"
RELOAD = b"event: reload\ndata: {}\n\n"


def written(event: str, data: dict[str, Any]) -> bytes:
    r"""One event as it goes over the wire.

    >>> written("job", {"id": "a1", "version": 2})
    b'event: job\ndata: {"id": "a1", "version": 2}\n\n'
    """
    return f"event: {event}\ndata: {json.dumps(data, ensure_ascii=False)}\n\n".encode()


@dataclass(eq=False)
class _Listener:
    """One open stream: what it has not been sent yet."""

    loop: asyncio.AbstractEventLoop
    queue: asyncio.Queue[bytes | None] = field(default_factory=asyncio.Queue)
    ended: bool = False

    def put(self, message: bytes | None) -> None:
        """Called in the listener's own loop; ``None`` is the last."""
        if self.ended:
            return
        self.ended = message is None
        if message is not None and self.queue.qsize() >= MOST_WAITING:
            while not self.queue.empty():
                self.queue.get_nowait()
            message = RELOAD
        self.queue.put_nowait(message)


class EventHub:
    """Passes events from any thread on to all who listen; keeps none for later.

    A page that was away reads the jobs anew, so nothing is lost by not being heard.
    """

    def __init__(self, *, heartbeat_seconds: float = HEARTBEAT_SECONDS) -> None:
        self._heartbeat_seconds = heartbeat_seconds
        self._listeners: set[_Listener] = set()
        self._lock = threading.Lock()
        self._closed = False

    @property
    def listeners(self) -> int:
        """How many streams are open."""
        with self._lock:
            return len(self._listeners)

    def publish(self, event: str, data: dict[str, Any]) -> None:
        """Tell all who listen; may be called from any thread, never waits."""
        self._send(written(event, data))

    def close(self) -> None:
        """End all streams, those that open later too; may be called from any thread."""
        with self._lock:
            self._closed = True
        self._send(None)

    def _send(self, message: bytes | None) -> None:
        with self._lock:
            listeners = list(self._listeners)
        for listener in listeners:
            try:
                listener.loop.call_soon_threadsafe(listener.put, message)
            except RuntimeError:  # its loop has ended, and the stream with it
                self._forget(listener)

    async def listen(self) -> AsyncIterator[bytes]:
        """What one stream sends: ``hello``, then events as they come, with heartbeats."""
        listener = _Listener(asyncio.get_running_loop())
        with self._lock:
            if self._closed:
                return
            self._listeners.add(listener)
        try:
            yield written("hello", {})
            while (message := await self._next(listener)) is not None:
                yield message
        finally:
            self._forget(listener)

    async def _next(self, listener: _Listener) -> bytes | None:
        try:
            return await asyncio.wait_for(listener.queue.get(), self._heartbeat_seconds)
        except TimeoutError:
            return HEARTBEAT

    def _forget(self, listener: _Listener) -> None:
        with self._lock:
            self._listeners.discard(listener)
