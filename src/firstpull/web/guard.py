"""Who may talk to the app? This machine's own pages; with a key, others in the house.

A page of some other site, open in the same browser, can send requests to this machine. It cannot
read what comes back, but it must not be able to change anything either, and a name that somebody
else points at this machine must not make its pages count as ours.
"""

from __future__ import annotations

import hmac
import ipaddress
from collections.abc import Iterable
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qsl, urlencode, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from firstpull.core.errors import WorkshopError
from firstpull.web.refusals import answer

OWN_NAMES = ("127.0.0.1", "localhost", "[::1]")
COOKIE = "firstpull_key"
KEY = "key"
HARMLESS = {"GET", "HEAD", "OPTIONS"}
KEY_DAYS = 30

SECURITY_HEADERS = {
    "content-security-policy": (
        "default-src 'self'; img-src 'self' blob: data:; style-src 'self' 'unsafe-inline'; "
        "connect-src 'self'; worker-src 'self' blob:; frame-ancestors 'none'; base-uri 'none'; "
        "form-action 'self'; object-src 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
}


class StrangeHost(WorkshopError):
    """The request was sent to a name that is not this app's."""

    code = "strange_host"


class StrangeOrigin(WorkshopError):
    """Some other site's page wants to change something here."""

    code = "strange_origin"


class NoKey(WorkshopError):
    """From another machine, without the key that the address carries."""

    code = "no_key"


@dataclass(frozen=True)
class Door:
    """Under which names the app answers, and with which key from elsewhere.

    Args:
        port: that it is served on.
        names: host names and addresses besides this machine's own, as they stand in a browser's
            address line; IPv6 in brackets.
        key: that other machines need; ``None`` lets nobody in from elsewhere.
    """

    port: int
    names: tuple[str, ...] = ()
    key: str | None = field(default=None, repr=False)

    @property
    def hosts(self) -> frozenset[str]:
        """The Host headers that are answered.

        >>> sorted(Door(80).hosts)[:2]
        ['127.0.0.1', '127.0.0.1:80']
        """
        return frozenset(_with_port([*OWN_NAMES, *self.names], self.port))


def _with_port(names: Iterable[str], port: int) -> Iterable[str]:
    for name in names:
        yield f"{name.lower()}:{port}"
        if port == 80:  # browsers leave it out
            yield name.lower()


class Guard:
    """Middleware: looks at host, origin and key, and adds the headers that fence pages in."""

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self.app, self.door = app, door
        self.hosts = door.hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or pass on."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return  # nothing here speaks anything else

        async def fenced(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in SECURITY_HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        headers = Headers(scope=scope)
        refusal = self._host(headers) or self._origin(scope["method"], headers)
        if refusal is None and not _is_here(scope):
            key = _given_key(scope)
            if key is not None and self._fits(key):
                await self._let_in(scope)(scope, receive, fenced)
                return
            refusal = self._no_key(headers, tried=key is not None)
        if refusal is not None:
            await answer(refusal)(scope, receive, fenced)
            return
        await self.app(scope, receive, fenced)

    def _host(self, headers: Headers) -> WorkshopError | None:
        host = headers.get("host", "").lower()
        if host in self.hosts:
            return None
        return StrangeHost(
            where=f'The name "{host[:80]}"',
            found="is not one that this app answers to",
            limit=f"it is served at {min(self.hosts)}",
            remedy="Open the address that firstpull serve printed; --lan adds names.",
        )

    def _origin(self, method: str, headers: Headers) -> WorkshopError | None:
        if method in HARMLESS:
            return None
        origin, site = headers.get("origin"), headers.get("sec-fetch-site")
        if origin is None and site not in ("cross-site", "same-site"):
            return None
        parts = urlsplit(origin or "")
        host = headers.get("host", "").lower()
        if parts.scheme in ("http", "https") and _as_sent(parts.netloc, parts.scheme) == host:
            return None
        return StrangeOrigin(
            where=f'The page of "{(origin or "another site")[:80]}"',
            found="may not change anything here",
            limit="only this app's own pages may",
            remedy="Use the app's own page, or a script that sends no Origin.",
        )

    def _no_key(self, headers: Headers, *, tried: bool) -> WorkshopError | None:
        if self.door.key is None:
            return self._asks_for_key("is another machine's; this app answers only its own")
        if not tried and self._fits(_cookie_key(headers)):
            return None
        if tried:
            return self._asks_for_key("carries a key that does not fit")
        return self._asks_for_key("carries no key")

    def _asks_for_key(self, found: str) -> NoKey:
        return NoKey(
            where="This request",
            found=found,
            limit="other machines need the whole address, key and all",
            remedy="Open the address with ?key= that firstpull serve --lan printed.",
        )

    def _fits(self, key: str) -> bool:
        """Compared in constant time."""
        if self.door.key is None:
            return False
        return hmac.compare_digest(key.encode(errors="replace"), self.door.key.encode())

    def _let_in(self, scope: Scope) -> RedirectResponse:
        """To the same page without the key, which the browser then keeps to itself."""
        rest = [(n, v) for n, v in _query(scope) if n != KEY]
        path = "/" + scope["path"].lstrip("/\\")  # never //elsewhere
        to = path + (f"?{urlencode(rest)}" if rest else "")
        response = RedirectResponse(to, status_code=303)
        response.set_cookie(
            COOKIE,
            self.door.key or "",
            max_age=KEY_DAYS * 86400,
            httponly=True,
            samesite="strict",
            path="/",
        )
        return response


def _as_sent(netloc: str, scheme: str) -> str:
    """The host and port of an origin, as the Host header of the same page would have it."""
    return netloc.lower().removesuffix(":80" if scheme == "http" else ":443")


def _is_here(scope: Scope) -> bool:
    """Whether the request comes from this machine itself."""
    client = scope.get("client")
    if client is None:
        return False
    try:
        address = ipaddress.ip_address(client[0])
    except ValueError:
        return False
    mapped = getattr(address, "ipv4_mapped", None)
    return (mapped or address).is_loopback


def _query(scope: Scope) -> list[tuple[str, str]]:
    return parse_qsl(scope.get("query_string", b"").decode("latin-1"), keep_blank_values=True)


def _given_key(scope: Scope) -> str | None:
    """The key in the address of a page, where there is one."""
    if scope["method"] not in ("GET", "HEAD"):
        return None
    return next((value for name, value in _query(scope) if name == KEY), None)


def _cookie_key(headers: Headers) -> str:
    try:
        cookies = SimpleCookie(headers.get("cookie", ""))
    except CookieError:
        return ""
    return cookies[COOKIE].value if COOKIE in cookies else ""
