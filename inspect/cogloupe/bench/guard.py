"""Who may ask: only the browser that the command opened, on this machine.

Loopback is no access control: other users of the machine, and any web page open in the browser,
reach it too. So every request names the loopback and this port as its host (else it came by a name
that someone else's server answers for), carries the token made at this start, and, where it
changes something, comes from this very origin. Pages load from this host only and are never framed.
"""

import secrets
from collections.abc import Iterable
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

HOSTS = ("127.0.0.1", "localhost", "[::1]")
ASKING = ("GET", "HEAD")
"""Methods that change nothing."""

_POLICY = (
    "default-src 'none'; script-src 'self'; connect-src 'self'; img-src 'self' data: blob:; "
    "style-src 'self' 'unsafe-inline'; font-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
"""Styles stand inside the pages, which can be opened from disk as well; scripts never do."""

_HEADERS = {
    "Content-Security-Policy": _POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cache-Control": "no-store",
}


def new_token() -> str:
    """A token that nobody can guess."""
    return secrets.token_urlsafe(32)


class Guard:
    """Stands before the application and turns away what does not come from the opened page.

    `token` was made at this start; `port` is where it listens.
    """

    def __init__(self, app: ASGIApp, token: str, port: int) -> None:
        self._app, self._token, self._port = app, token, port
        self._hosts = {f"{host}:{port}" for host in HOSTS}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or hand it on."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
        elif scope["type"] == "http":
            answer = self._turned_away(scope) or self._let_in(scope)
            await (answer or self._app)(scope, receive, _with_headers(send))

    def _turned_away(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if host not in self._hosts:
            return _refusal("this page answers only on this machine")
        if scope["method"] not in ASKING and headers.get("origin") != f"http://{host}":
            return _refusal("only the page itself may change anything")
        if self._knows(self._tokens(scope, headers)):
            return None
        return _refusal("open the address that 'cogloupe bench' printed; it changes at each start")

    def _let_in(self, scope: Scope) -> Response | None:
        """Take the token out of the address into a cookie, so that it is not left lying about."""
        if not self._knows(_in_address(scope)):
            return None
        answer = RedirectResponse(scope["path"], status_code=303)
        answer.set_cookie(
            self._cookie, self._token, httponly=True, samesite="strict", path="/"
        )  # fmt: skip
        return answer

    @property
    def _cookie(self) -> str:
        """Cookies are shared by all ports of a host, so the name holds the port."""
        return f"cogloupe-{self._port}"

    def _tokens(self, scope: Scope, headers: Headers) -> list[str]:
        cookies: SimpleCookie = SimpleCookie()
        try:
            cookies.load(headers.get("cookie", ""))
        except CookieError:
            return _in_address(scope)
        kept = cookies.get(self._cookie)
        return [*_in_address(scope), *([kept.value] if kept else [])]

    def _knows(self, tokens: Iterable[str]) -> bool:
        return any(secrets.compare_digest(t.encode(), self._token.encode()) for t in tokens)


def _in_address(scope: Scope) -> list[str]:
    return parse_qs(scope["query_string"].decode("latin-1")).get("token", [])


def _refusal(why: str) -> Response:
    return PlainTextResponse(f"Not allowed: {why}.", status_code=403)


def _with_headers(send: Send) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers[name] = value
        await send(message)

    return sending
