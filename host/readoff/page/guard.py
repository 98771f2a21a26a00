"""Who may ask the page, and what every answer carries. Pure ASGI, before everything else.

- The Host asked for must be ours: a name that somebody else's DNS points at this computer is refused, a bare
  address never needs DNS.
- A request that another site's page makes (Origin, Sec-Fetch-Site) is refused.
- GET and HEAD change nothing. A POST must say by its Origin that it comes from a form of this very page, and how long
  it is; nothing else is taken.
- Beyond loopback a token is needed: in the first link, then in a cookie.
"""

from __future__ import annotations

import hmac
import ipaddress
from collections.abc import Iterable
from dataclasses import dataclass
from urllib.parse import parse_qs

from starlette.datastructures import Headers
from starlette.requests import cookie_parser
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from readoff.store.photographs import MOST_OCTETS

MOST_BODY = MOST_OCTETS + (64 << 10)
"""Octets of a form: a photograph, and what else is in it."""
CONTENT_POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "font-src 'self'",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)
_HEADERS = (
    ("content-security-policy", CONTENT_POLICY),
    ("x-content-type-options", "nosniff"),
    ("referrer-policy", "same-origin"),  # with no-referrer a form's Origin would be "null"
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
    ("cache-control", "no-store"),
)


@dataclass(frozen=True)
class Door:
    """Where the page is. host: as bound or as the person named it; token: "" where none is needed."""

    host: str
    port: int
    token: str

    @property
    def cookie(self) -> str:
        """The cookie's name. Cookies do not keep ports apart, names do."""
        return f"readoff-page-{self.port}"

    def is_ours(self, host: str) -> bool:
        """Whether a Host header names this page: our port, and an address, localhost, or the host as named."""
        name, _, port = host.rpartition(":") if not host.endswith("]") else (host, "", "")
        if not name:
            name, port = host, ""
        if (port or "80") != str(self.port):
            return False
        name = name.strip("[]").lower().rstrip(".")
        return name in ("localhost", self.host.lower()) or _is_address(name)


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


class Guard:
    """Lets a request through to the page, or answers it itself."""

    def __init__(self, app: ASGIApp, door: Door) -> None:
        self._app, self._door = app, door

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """ASGI."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                carried = [(k.encode(), v.encode()) for k, v in _HEADERS]
                named = {name for name, _ in carried}
                message["headers"] = [h for h in message["headers"] if h[0].lower() not in named] + carried
            await send(message)

        answer = self._answer(scope)
        await (answer or self._app)(scope, receive, with_headers)

    def _answer(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        if not self._door.is_ours(headers.get("host", "")):
            return _no(403, "This page does not go by that name.")
        if _from_elsewhere(headers):
            return _no(403, "Another site's page may not ask this one.")
        if scope["method"] not in ("GET", "HEAD", "POST"):
            answer = _no(405, "This page shows, and takes its own forms; nothing else.")
            answer.headers["allow"] = "GET, HEAD, POST"
            return answer
        return (_form_refused(headers) if scope["method"] == "POST" else None) or self._token(scope, headers)

    def _token(self, scope: Scope, headers: Headers) -> Response | None:
        if not self._door.token:
            return None
        given = parse_qs(scope["query_string"].decode("latin-1")).get("token", [])
        if _equal(given[:1], self._door.token):
            answer = RedirectResponse(scope["path"], status_code=303)
            answer.set_cookie(self._door.cookie, self._door.token, httponly=True, samesite="lax", path="/")
            return answer
        held = cookie_parser(headers.get("cookie", "")).get(self._door.cookie)
        if _equal([held] if held else [], self._door.token):
            return None
        return _no(403, "Open the link that the command printed: it carries the token.")


def _form_refused(headers: Headers) -> Response | None:
    """Why a form is not taken: it is not this page's own (another origin was refused before), or it is too long."""
    if "origin" not in headers or headers.get("sec-fetch-site", "same-origin") != "same-origin":
        return _no(403, "Only this page's own forms may change something.")
    length = headers.get("content-length", "")
    if not (length.isascii() and length.isdecimal()) or "transfer-encoding" in headers:
        return _no(411, "How long this is must be said beforehand.")
    if len(length) > 12 or int(length) > MOST_BODY:
        return _no(413, f"At most {MOST_OCTETS >> 20} MiB are taken at a time. Nothing was kept.")
    return None


def _from_elsewhere(headers: Headers) -> bool:
    origin, host = headers.get("origin"), headers.get("host", "")
    if origin is not None and origin.lower() != f"http://{host.lower()}":
        return True
    # A link on another site may be followed, since nothing changes by it; nothing may be fetched or embedded.
    return (
        headers.get("sec-fetch-site") in ("cross-site", "same-site")
        and headers.get("sec-fetch-mode") != "navigate"
    )


def _equal(given: Iterable[str], token: str) -> bool:
    return any(hmac.compare_digest(each.encode(), token.encode()) for each in given)


def _no(status: int, why: str) -> Response:
    return PlainTextResponse(why + "\n", status_code=status)
