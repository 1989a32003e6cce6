"""The page as an ASGI application: routes, who may go where, and answers to what goes wrong."""

from __future__ import annotations

import logging
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from importlib.resources import files
from pathlib import Path

from anyio import to_thread
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from monitor.clock import Clock
from monitor.errors import BagwattError
from monitor.page.api import Api
from monitor.page.ask import DEVICE, UNITS, VISIT, Ask, BadBodyError, problem, read_form, read_json
from monitor.page.colours import stylesheet
from monitor.page.farm import FarmViews
from monitor.page.guard import Guard
from monitor.page.latest import Latest
from monitor.page.login import Desk, new_visit
from monitor.page.metrics import Metrics
from monitor.page.show import Show
from monitor.page.tuning import Tuner
from monitor.page.tuning_views import TuningViews
from monitor.page.views import Views
from monitor.settings.schema import PageSettings, Settings

#: Threads that render and read the store; more would only take time from the daemon's own.
THREADS = 4

Handler = Callable[[Ask], Response]
log = logging.getLogger(__name__)


class Gate:
    """Lets each request through to its handler, or sends it to log in."""

    def __init__(self, desk: Desk, show: Show, page: PageSettings, units: str) -> None:
        self._desk, self._show = desk, show
        self._secure = page.certificate is not None
        self._units = units

    def route(
        self, path: str, handler: Handler, *, post: bool = False, open_to_all: bool = False
    ) -> Route:
        """A route; what is posted needs a form token and, unless open to all, one who may act."""

        async def endpoint(request: Request) -> Response:
            body = await request.body() if post else b""
            return await run_in_threadpool(self._answer, request, body, handler, open_to_all)

        return Route(path, endpoint, methods=["POST"] if post else ["GET"])

    def _answer(
        self, request: Request, body: bytes, handler: Handler, open_to_all: bool
    ) -> Response:
        cookies = request.cookies
        visit = cookies.get(VISIT, "")
        who = self._desk.visitor(visit, cookies.get(DEVICE, ""))
        fresh = "" if visit else new_visit()
        chosen = cookies.get(UNITS, "")
        units = chosen if chosen in ("C", "F") else who.units or self._units
        ask = Ask(request, who, visit or fresh, units)
        answer = self._refusal(ask, open_to_all) or self._handled(ask, body, handler, open_to_all)
        if fresh and not any(name == b"set-cookie" for name, _ in answer.raw_headers):
            self.keep(answer, VISIT, fresh)
        return answer

    def _refusal(self, ask: Ask, open_to_all: bool) -> Response | None:
        if open_to_all or ask.who.may_look:
            return None
        if ask.wants_json:
            return problem(401, "log in first", "open /login, or your link")
        if ask.request.method == "POST":
            return RedirectResponse("/login", 303)
        return RedirectResponse(f"/login?next={ask.request.url.path}", 303)

    def _handled(self, ask: Ask, body: bytes, handler: Handler, open_to_all: bool) -> Response:
        if ask.request.method != "POST":
            return handler(ask)
        try:
            if ask.wants_json:
                ask = Ask(ask.request, ask.who, ask.visit, ask.units, body=read_json(body))
                token = ask.request.headers.get("x-form-token", "")
            else:
                ask = Ask(ask.request, ask.who, ask.visit, ask.units, form=read_form(body))
                token = ask.form.get("token", "")
        except BadBodyError as error:
            return self._show.error(ask, 400, str(error))
        if not self._same_site(ask.request) or not self._desk.token_fits(token, ask.visit):
            text = "This form is from another visit: go back, load the page anew, send it again."
            return self._show.error(ask, 403, text)
        if not open_to_all and not ask.who.may_act:
            return self._show.error(ask, 403, "You may look, not act: log in as one who may.")
        return handler(ask)

    @staticmethod
    def _same_site(request: Request) -> bool:
        """Whether a browser says that the form came from this page; a script says nothing."""
        if request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            return False
        origin = request.headers.get("origin")
        host = request.headers.get("host", "")
        return origin is None or origin.partition("://")[2] == host

    def keep(self, answer: Response, name: str, value: str, for_s: int | None = None) -> None:
        """Set a cookie no script and no other site can use."""
        answer.set_cookie(
            name, value, max_age=for_s, httponly=True, samesite="strict", secure=self._secure
        )


def build_app(
    settings: Settings,
    clock: Clock,
    latest: Latest,
    sitting_here: str,
    config_dir: Path | None = None,
) -> Starlette:
    """The page of a room. `sitting_here` is who acts where nobody is set up to log in;
    `config_dir` has the settings, for what runs as a process of its own."""
    page = settings.page or PageSettings()

    def seconds() -> float:
        return clock.real_s(clock.monotonic_s())

    desk = Desk(page, seconds, sitting_here)
    show = Show(settings, desk)
    gate = Gate(desk, show, page, settings.room.units)
    views = Views(settings, clock, latest, desk, show, gate.keep)
    tuner = Tuner(config_dir)
    tunings = TuningViews(settings, show, tuner)
    farm = FarmViews(settings, clock, show)
    api = Api(settings, clock, latest, desk)

    @asynccontextmanager
    async def few_threads(_: Starlette) -> AsyncIterator[None]:
        to_thread.current_default_thread_limiter().total_tokens = THREADS
        await run_in_threadpool(show.warm)
        yield
        tuner.stop()
        farm.stop()

    return Starlette(
        routes=[
            *views.routes(gate.route),
            *tunings.routes(gate.route),
            *farm.routes(gate.route),
            *api.routes(gate.route),
            *(Metrics(settings, clock, latest).routes(page.metrics) if page.metrics else ()),
            *_static(),
        ],
        middleware=[
            Middleware(Guard, hosts=(*page.hosts,)),
            Middleware(GZipMiddleware, minimum_size=800, compresslevel=6),
        ],
        exception_handlers=dict.fromkeys(
            (HTTPException, BagwattError, ClientDisconnect, Exception),
            _gone_wrong(show, desk, settings),
        ),
        lifespan=few_threads,
    )


def _gone_wrong(
    show: Show, desk: Desk, settings: Settings
) -> Callable[[Request, Exception], Awaitable[Response]]:
    """What answers where a request failed."""

    async def went_wrong(request: Request, error: Exception) -> Response:
        ask = Ask(request, desk.visitor("", ""), "", settings.room.units)
        if isinstance(error, HTTPException):
            text = {404: "There is no such page.", 405: "This can't be done here."}
            return show.error(ask, error.status_code, text.get(error.status_code, "No."))
        if isinstance(error, BagwattError):
            return show.error(ask, 503, "The store can't be read or written just now.")
        if isinstance(error, ClientDisconnect):
            return show.error(ask, 413, "That is more than is taken here.")
        log.error("the page failed", exc_info=error)
        return show.error(ask, 500, "The page failed at this; the monitor itself goes on.")

    return went_wrong


def _static() -> list[Route | Mount]:
    async def warmth(_: Request) -> Response:
        return Response(stylesheet(), media_type="text/css", headers={"cache-control": "no-cache"})

    folder = str(files("monitor.page") / "static")
    return [
        Route("/static/warmth.css", warmth),
        Mount("/static", StaticFiles(directory=folder), name="static"),
    ]
