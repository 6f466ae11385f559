"""Serves the app on this machine: the socket first, then the workspace, then the page."""

from __future__ import annotations

import contextlib
import errno
import json
import secrets
import socket
import sys
import threading
import webbrowser
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import uvicorn

from firstpull import wiring
from firstpull.core.errors import WorkshopError
from firstpull.services.jobs.demo_job import demo_once
from firstpull.services.worker import Cancelled
from firstpull.web.app import create_app
from firstpull.web.events import EventHub
from firstpull.web.guard import Door
from firstpull.web.receive import sweep_incoming
from firstpull.web.refusals import fault_answer

PORT = 8321
LOOPBACK, ALL = "127.0.0.1", "0.0.0.0"
LAST_CALL_SECONDS = 2  # for answers under way when the server is asked to end
NOWHERE = ("192.0.2.1", 9)  # reserved for documents; asking the way there sends nothing


class PortTaken(WorkshopError):
    """Another program listens there, or the system keeps the port to itself."""

    code = "port_taken"


@dataclass(frozen=True)
class Opened:
    """Where the app is served.

    Args:
        socket: bound, for the server to listen on.
        address: for this machine's browser.
        elsewhere: addresses for other machines, key and all; none without --lan.
        door: what the guard lets in.
        note: a sentence where the port is another than the usual one; else "".
    """

    socket: socket.socket
    address: str
    elsewhere: tuple[str, ...]
    door: Door
    note: str


def serve(
    folder: Path,
    *,
    port: int | None = None,
    lan: bool = False,
    open_browser: bool = True,
    demo: bool = False,
    as_json: bool = False,
) -> None:
    """Serves the app until it is asked to end.

    Args:
        folder: the workspace; made where it is missing.
        port: to listen on; ``None`` takes the usual one, or a free one where that is taken.
        lan: whether other machines may come in, with the key.
        open_browser: whether this machine's browser is opened.
        demo: whether the demo job is put in the workspace, once.
        as_json: whether the address is told as one JSON object.

    Raises:
        PortTaken: the port that was asked for is not free.
        WorkshopError: the workspace cannot be opened.
    """
    opened = open_socket(port, lan=lan)
    hub = EventHub()
    with (
        contextlib.closing(opened.socket),
        wiring.open_office(
            folder, address=opened.address, publish=hub.publish, on_fault=fault_answer
        ) as office,
    ):
        sweep_incoming(office.folder)

        def started() -> None:
            _tell(opened, office.folder, as_json=as_json)
            if open_browser:
                threading.Thread(target=_open_browser, args=(opened.address,), daemon=True).start()

        server = AppServer(create_app(office, hub, opened.door), hub, started)
        with contextlib.ExitStack() as meanwhile:
            meanwhile.enter_context(_coming("The headform", office.headform.content))
            if demo:
                meanwhile.enter_context(_coming("The demo job", lambda off: _demo(office, off)))
            server.run([opened.socket])


def _demo(office: wiring.Office, cancel: threading.Event) -> None:
    """The demo job is made and planned, where there is none."""
    job = demo_once(office.desk, now=office.clock(), triangles=office.demo_triangles, cancel=cancel)
    if job is not None:
        office.runner.start(job.id)
        office.publish("job", {"id": job.id, "version": job.version})


@contextlib.contextmanager
def _coming(what: str, make: Callable[[threading.Event], object]) -> Iterator[None]:
    """Meanwhile something is made that no request waits for; leaving calls that off."""
    cancel = threading.Event()

    def run() -> None:
        try:
            make(cancel)
        except Cancelled:
            pass
        except WorkshopError as refusal:
            print(f"{what} was not made: {refusal}", file=sys.stderr)
        except Exception as fault:
            fault_answer(fault)

    thread = threading.Thread(target=run, name=what)
    thread.start()
    try:
        yield
    finally:
        cancel.set()
        thread.join()


def open_socket(port: int | None, *, lan: bool = False) -> Opened:
    """Binds the socket, so that the address is known and ours before anything else begins.

    Raises:
        PortTaken: ``port`` was asked for and is not free.
    """
    host = ALL if lan else LOOPBACK
    note = ""
    try:
        bound = _bound(host, PORT if port is None else port)
    except PortTaken:
        if port is not None:
            raise
        bound = _bound(host, 0)
        note = f"Port {PORT} is taken by another program, so this is another one."
    got = bound.getsockname()[1]
    names = _names() if lan else ()
    key = secrets.token_urlsafe(16) if lan else None
    elsewhere = tuple(f"http://{name}:{got}/?key={key}" for name in names)
    door = Door(got, names=names, key=key)
    return Opened(bound, f"http://{LOOPBACK}:{got}/", elsewhere, door, note)


def _bound(host: str, port: int) -> socket.socket:
    # told to be TCP: only then does the server send small answers without waiting for more
    bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    if sys.platform != "win32":  # there it would let two programs share the port
        bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        bound.bind((host, port))
        bound.listen()
    except OSError as fault:
        bound.close()
        taken = fault.errno == errno.EADDRINUSE
        raise PortTaken(
            where=f"Port {port}",
            found="is taken by another program" if taken else "cannot be used on this machine",
            remedy="Give another one with --port, or leave it out to take a free one.",
        ) from fault
    return bound


def _names() -> tuple[str, ...]:
    """Names and addresses of this machine in the house; the likeliest first."""
    found: list[str] = []
    with contextlib.suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as way:
        way.connect(NOWHERE)
        found.append(way.getsockname()[0])
    name = socket.gethostname().lower()
    with contextlib.suppress(OSError):
        found += [str(at[4][0]) for at in socket.getaddrinfo(name, None, socket.AF_INET)]
    found += [name, name if "." in name else f"{name}.local"]
    return tuple(dict.fromkeys(n for n in found if n and not n.startswith("127.")))


def _tell(opened: Opened, folder: Path, *, as_json: bool) -> None:
    if as_json:
        told: dict[str, Any] = {
            "address": opened.address,
            "elsewhere": list(opened.elsewhere),
            "workspace": str(folder),
        }
        print(json.dumps(told), flush=True)
        return
    if opened.note:
        print(opened.note)
    print(f"The app is at {opened.address}")
    for n, address in enumerate(opened.elsewhere):
        print(f"{'From other machines:' if n == 0 else '                 or:'} {address}")
    print(f"Jobs are kept in {folder}. Ctrl-C ends it.", flush=True)


def _open_browser(address: str) -> None:
    with contextlib.suppress(webbrowser.Error, OSError):
        webbrowser.open(address)


class AppServer(uvicorn.Server):
    """Tells when it listens, and ends at once when asked, however many pages are open.

    Args:
        app: to serve.
        hub: its streams end first, or the server would wait for them.
        started: called once requests are answered.
    """

    def __init__(self, app: Any, hub: EventHub, started: Callable[[], None]) -> None:
        config = uvicorn.Config(
            app,
            access_log=False,
            log_level="critical",  # faults are told by the app itself
            lifespan="off",
            server_header=False,
            timeout_graceful_shutdown=LAST_CALL_SECONDS,
        )
        super().__init__(config)
        self._hub, self._started_call = hub, started

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Listen, and say so."""
        await super().startup(sockets)
        if self.started:
            self._started_call()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End the streams, then all else."""
        self._hub.close()
        await super().shutdown(sockets)

    def handle_exit(self, sig: int, frame: Any) -> None:
        """Asked to end: once politely; a second time leaves answers under way behind."""
        self.force_exit = self.should_exit
        self.should_exit = True
