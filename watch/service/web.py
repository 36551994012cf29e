"""(I/O) The page on the boat's network: the orders as a page and as JSON, the alerts, and acknowledging them.

Listens at a loopback address unless told otherwise. It makes nothing and decides nothing: a source supplies what is shown.
"""

import hashlib
import json
import secrets
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol
from urllib.parse import parse_qsl

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.base import BaseHTTPMiddleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from watch.orders.document import Orders
from watch.passage.land import Land
from watch.render.as_json import as_json, plain
from watch.render.page import Served, content_policy, render_notice, render_page
from watch.render.page_parts import PageAlert, PageHealth, Place
from watch.service.web_access import ATTEMPTS, ATTEMPTS_PER_S, REQUESTS, REQUESTS_PER_S, Access, Bucket, Right, Sessions
from watch.service.web_openapi import description

COOKIE = "nightorders"
MOST_BODY = 8192
HEADERS = {
    "Cache-Control": "no-store",
    "Content-Security-Policy": f"{content_policy()}; connect-src 'self'; form-action 'self'; frame-ancestors 'none'",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
    "Referrer-Policy": "same-origin",  # with no-referrer a browser sends no true Origin, and the page could not tell its own forms
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
}


@dataclass(frozen=True, kw_only=True)
class Latest:
    """What is to be shown now. orders None: there are none, and health or alerts say why. land: for the map, from service.map_land."""

    now: datetime
    orders: Orders | None
    health: PageHealth
    alerts: tuple[PageAlert, ...] = ()
    previous: Orders | None = None
    places: tuple[Place, ...] = ()
    land: Land | None = None
    invented: bool = False


class Source(Protocol):
    """Where the page has it all from. Called from several threads."""

    def latest(self) -> Latest:
        """What stands now."""

    def acknowledge(self, alert: str, revision: int, who: str, where: str) -> str | None:
        """Acknowledges the alert as it was read in that revision; a sentence when that cannot be, else None."""


def mark_of(latest: Latest, right: Right) -> str:
    """A short text that changes when what is shown changes, but not with the time alone."""
    shown = {
        "made": None if latest.orders is None else latest.orders.made_at.isoformat(), "right": int(right),
        "alerts": plain(latest.alerts), "parts": plain(latest.health.parts), "next": plain(latest.health.next_at),
    }  # fmt: skip
    return hashlib.sha256(json.dumps(shown, sort_keys=True).encode()).hexdigest()[:16]


class Page:
    """The handlers, with the sessions and the limits they share."""

    def __init__(self, source: Source, access: Access, clock_s: Callable[[], float] = time.monotonic):
        self.source, self.access, self.clock_s = source, access, clock_s
        self.sessions = Sessions()
        self.requests, self.attempts = Bucket(REQUESTS, REQUESTS_PER_S), Bucket(ATTEMPTS, ATTEMPTS_PER_S)
        self.described = description()

    def right(self, request: Request) -> Right:
        if self.access.needs_no_passphrase:
            return self.access.most
        return self.sessions.right(request.cookies.get(COOKIE), self.clock_s())

    async def guard(self, request: Request, go_on: Callable[[Request], Awaitable[Response]]) -> Response:
        """Before every request: was it meant for us, are they too many, is it from our own page; after it: the headers."""
        response = self._refused(request) or await go_on(request)
        for name, value in HEADERS.items():
            response.headers[name] = value
        return response

    def _refused(self, request: Request) -> Response | None:
        if not self.access.knows_host(request.headers.get("host", "")):
            return error(400, "this page is not known by that name")
        if not self.requests.take(_client(request), self.clock_s()):
            return error(429, "too many requests; wait a little", {"Retry-After": "5"})
        if request.method not in ("GET", "HEAD", "OPTIONS") and not same_site(request):
            return error(403, "this has to come from the page itself")
        return None

    def page(self, request: Request) -> Response:
        right = self.right(request)
        if right < Right.READ:
            return HTMLResponse(render_notice("sign-in"), 401)
        latest = self.source.latest()
        served = Served(mark=mark_of(latest, right), may_acknowledge=right >= Right.ACKNOWLEDGE)
        if latest.orders is None:
            return HTMLResponse(render_notice("no-orders", health=latest.health, alerts=latest.alerts, served=served), 503)
        return HTMLResponse(render_page(
            latest.orders, now=latest.now, health=latest.health, alerts=latest.alerts, previous=latest.previous,
            places=latest.places, land=latest.land, served=served, invented=latest.invented,
        ))  # fmt: skip

    def reading(self, show: Callable[[Latest, Right], Response]) -> Callable[[Request], Response]:
        """A handler for those who may read."""

        def handler(request: Request) -> Response:
            right = self.right(request)
            return error(401, "sign in to read this") if right < Right.READ else show(self.source.latest(), right)

        return handler

    async def acknowledge(self, request: Request) -> Response:
        right = self.right(request)
        if right < Right.ACKNOWLEDGE:
            return error(401 if right < Right.READ else 403, "sign in with the passphrase for acknowledging")
        form = await form_of(request)
        alert, revision = form.get("alert", ""), form.get("revision", "")
        if not 1 <= len(alert) <= 200 or not (revision.isascii() and revision.isdigit()) or len(revision) > 9 or len(form) != 2:
            return error(400, "expected an alert and the revision that was read, like alert=front.20260514&revision=2")
        who = "skipper" if self.access.needs_no_passphrase else "signed in"
        refused = await run_in_threadpool(self.source.acknowledge, alert, int(revision), who, f"page at {_client(request)}")
        if refused is not None:
            return error(409, refused)
        if "application/json" in request.headers.get("accept", ""):
            return JSONResponse({"acknowledged": alert})
        return RedirectResponse("/", 303)

    async def sign_in(self, request: Request) -> Response:
        if not self.attempts.take(_client(request), self.clock_s()):
            return error(429, "too many attempts; wait five minutes", {"Retry-After": "300"})
        form = await form_of(request)
        passphrase = form.get("passphrase")
        if passphrase is None or not form.keys() <= {"passphrase", "name"} or max(map(len, form.values())) > 200:
            return error(400, "expected a passphrase of at most 200 letters")
        right = await run_in_threadpool(self.access.right_of, passphrase)
        if right is Right.NONE:
            return HTMLResponse(render_notice("sign-in", wrong=True), 401)
        token = secrets.token_urlsafe(32)
        self.sessions.end(request.cookies.get(COOKIE))
        self.sessions.begin(token, right, self.clock_s())
        answer = RedirectResponse("/", 303)
        answer.set_cookie(COOKIE, token, httponly=True, samesite="strict", secure=request.url.scheme == "https", path="/")
        return answer

    def sign_out(self, request: Request) -> Response:
        self.sessions.end(request.cookies.get(COOKIE))
        answer = RedirectResponse("/", 303)
        answer.delete_cookie(COOKIE, path="/", httponly=True, samesite="strict")
        return answer

    def orders(self, latest: Latest, _: Right) -> Response:
        if latest.orders is None:
            return error(503, "there are no orders")
        return Response(as_json(latest.orders), media_type="application/json")

    def health(self, latest: Latest, _: Right) -> Response:
        """How the watch is, for another program that looks after it: 503 when it is not well or has no orders."""
        health, orders = latest.health, latest.orders
        well = health.well and orders is not None
        made = None if orders is None else orders.made_at
        said = {"well": well, "orders_made_at": made, "checked_at": health.checked_at, "next_at": health.next_at, "parts": health.parts}
        return JSONResponse(plain(said), 200 if well else 503)

    def mark(self, latest: Latest, right: Right) -> Response:
        at = {"now": latest.now, "checked_at": latest.health.checked_at, "next_at": latest.health.next_at}
        return JSONResponse({"mark": mark_of(latest, right), **plain(at)})


def make_app(source: Source, access: Access, clock_s: Callable[[], float] = time.monotonic) -> Starlette:
    """The page as an application; clock_s gives seconds that only go forward."""
    page = Page(source, access, clock_s)
    return Starlette(
        routes=[
            Route("/", page.page), Route("/orders.json", page.reading(page.orders)), Route("/mark", page.reading(page.mark)),
            Route("/alerts.json", page.reading(lambda latest, _: JSONResponse(plain(latest.alerts)))),
            Route("/health", page.reading(page.health)),
            Route("/openapi.json", lambda _: JSONResponse(page.described)), Route("/ack", page.acknowledge, methods=["POST"]),
            Route("/sign-in", page.sign_in, methods=["POST"]), Route("/sign-out", page.sign_out, methods=["POST"]),
        ],
        middleware=[Middleware(BaseHTTPMiddleware, dispatch=page.guard)],
        exception_handlers={HTTPException: lambda _, e: error(e.status_code, str(e.detail).lower(), dict(e.headers or {}))},
    )  # fmt: skip


def serve(source: Source, access: Access) -> None:
    """Serves the page until the process is told to end. Blocking: the daemon gives it a thread."""
    import uvicorn

    uvicorn.run(
        make_app(source, access), host=access.address, port=access.port, log_level="warning", access_log=False, server_header=False,
        proxy_headers=False, limit_concurrency=64, timeout_keep_alive=20,
    )  # fmt: skip


def same_site(request: Request) -> bool:
    """Whether a request that changes something comes from our own page, or from a program that says so.

    A browser sends Origin with every POST and a page elsewhere cannot alter it; a program sends the header X-Nightorders, which a
    form on another page cannot.
    """
    origin, fetched = request.headers.get("origin"), request.headers.get("sec-fetch-site")
    if fetched is not None and fetched not in ("same-origin", "none"):
        return False
    if origin is not None:
        return origin == f"{request.url.scheme}://{request.headers.get('host', '')}"
    return fetched is not None or "x-nightorders" in request.headers


async def form_of(request: Request) -> dict[str, str]:
    """The fields of a form, refused when it is too long, is none, or names a field twice."""
    if request.headers.get("content-type", "").split(";")[0].strip().lower() != "application/x-www-form-urlencoded":
        raise HTTPException(415, "send it as a form: application/x-www-form-urlencoded")
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > MOST_BODY:
            raise HTTPException(413, f"at most {MOST_BODY} bytes")
    try:
        pairs = parse_qsl(body.decode("ascii"), keep_blank_values=True, strict_parsing=bool(body), max_num_fields=8, errors="strict")
    except ValueError:
        raise HTTPException(400, "that is no form") from None
    if len({name for name, _ in pairs}) != len(pairs):
        raise HTTPException(400, "a field is given twice")
    return dict(pairs)


def error(status: int, words: str, headers: dict[str, str] | None = None) -> Response:
    return JSONResponse({"error": words}, status, headers=headers)


def _client(request: Request) -> str:
    return request.client.host if request.client is not None else "unknown"
