"""The page's addresses, and how a view becomes an answer. Everything that came from outside is escaped by Jinja2."""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup
from sse_starlette import EventSourceResponse
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, PlainTextResponse, Response
from starlette.routing import Route

from readoff.errors import ReadoffError, StoreError, StudyError, UsageError
from readoff.judge import DEFAULT_MARGIN
from readoff.page.bench import Bench
from readoff.page.configurations import configurations_view
from readoff.page.deeds import Deeds
from readoff.page.findings import Rules, finding_view, findings_view
from readoff.page.guard import Door, Guard
from readoff.page.pictures import picture_png
from readoff.page.pulse import VIEWERS, Beat, Pulse
from readoff.page.readers import Readers
from readoff.page.runs import arrival_view, held_view, octets_view, run_view, runs_view
from readoff.page.step_view import StepShown, StudyTrouble, step_shown
from readoff.page.typing_view import Form, typing_view
from readoff.page.writer import Writer
from readoff.reports.publication import INVENTED
from readoff.store import Store, find
from readoff.store.attachments import photograph
from readoff.store.browse import run_page
from readoff.studies.noting import FAILURES

if TYPE_CHECKING:
    from readoff.readings import Schema
    from readoff.studies import Study

_HERE = Path(__file__).resolve().parent
_LOOKS = {
    "page.css": "text/css",
    "page.js": "text/javascript",
    "page.svg": "image/svg+xml",
    "chamfer8.ttf": "font/ttf",
    "chamfer16.ttf": "font/ttf",
}
LATEST = 8
"""Arrivals that the view of now shows."""
_MOST = 1 << 40
_LONGEST = 200

View = Callable[[Store], dict[str, Any]]


@dataclass(frozen=True)
class Look:
    """What the page looks at.

    watching: whether this program also watches lines. margin: smallest difference that matters (0.02 is 2 %).
    note: shown on every view. schemas: what captures are read by, to know what a typed number means. study: reads the
    file of the study that is done at this bench, anew each time; None for none.
    """

    store: Path
    bench: Bench = field(default_factory=Bench)
    watching: bool = False
    margin: float = DEFAULT_MARGIN
    note: str = ""
    schemas: Callable[[], Sequence[Schema]] = tuple
    study: Callable[[], Study] | None = None


class Page:
    """The application. going_on: false when it is to end, so that streams end by themselves."""

    def __init__(self, look: Look, door: Door, going_on: Callable[[], bool]) -> None:
        self._look, self._going_on = look, going_on
        schemas = cache(look.schemas)
        self._readers = Readers(look.store, schemas)
        self._writer = Writer(look.store, schemas)
        self._deeds = Deeds(self._writer, look.study, self._typing_again, self._changed)
        self._pulse = Pulse(self._readers, look.bench)
        self._viewers = 0
        self._start = secrets.token_hex(4)
        self._step: tuple[int, Study, StepShown] | None = None
        self._templates = Environment(
            loader=FileSystemLoader(_HERE / "templates"),
            autoescape=True,
            undefined=StrictUndefined,
            finalize=_seen,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self._templates.filters["counted"] = _counted
        self._templates.filters["clock"] = _clock
        self.asgi = Starlette(
            routes=self._routes(),
            middleware=[Middleware(Guard, door=door)],
            exception_handlers={ReadoffError: self._trouble, 404: self._nothing_there},
            lifespan=self._lifespan,
        )

    def _routes(self) -> list[Route]:
        return [
            Route("/", self.now),
            Route("/far", self.far),
            Route("/runs", self.runs),
            Route("/runs/{run}", self.run),
            Route("/runs/{run}/octets/{of}", self.octets),
            Route("/arrivals/{number:int}", self.arrival),
            Route("/runs/{run}/pictures/{position:int}.png", self.picture),
            Route("/photographs/{sha256}", self.photograph),
            Route("/held", self.held),
            Route("/held/{hold:int}", self.typing),
            Route("/configurations", self.configurations),
            Route("/findings", self.findings),
            Route("/finding", self.finding),
            Route("/changes", self.changes),
            Route("/look/{name}", self.look),
            *self._deeds.routes(),
        ]

    @asynccontextmanager
    async def _lifespan(self, app: Starlette) -> AsyncIterator[None]:
        pulse = asyncio.create_task(self._pulse.run(self._going_on))
        try:
            yield
        finally:
            pulse.cancel()
            await asyncio.gather(pulse, return_exceptions=True)
            self._writer.close()
            self._readers.close()

    # -- views ---------------------------------------------------------------------------------------------------

    async def now(self, request: Request) -> Response:
        """What the bench does now, and what came last."""
        study = self._study()
        beat = (self._pulse.beat, study)
        return await self._show(request, "now.html", lambda store: self._now_view(store, study), beat)

    async def far(self, request: Request) -> Response:
        """The three things that matter from across the room, as large as the screen allows."""
        study = self._study()
        beat = (self._pulse.beat, study)
        return await self._show(request, "far.html", lambda store: self._far_view(store, study), beat)

    def _far_view(self, store: Store, study: Study | StudyTrouble | None) -> dict[str, Any]:
        lines = [each for each in self._look.bench.sources() if each.status.kind == "line"]
        return {"lines": lines, "counts": find.counts(store), "next": self._next(store, study)}

    def _study(self) -> Study | StudyTrouble | None:
        """The study as its file is now."""
        try:
            return self._look.study() if self._look.study is not None else None
        except ReadoffError as error:
            return StudyTrouble(error.sentence())

    def _sound_study(self) -> Study | None:
        """The study, None where there is none or its file is faulty at this moment: the view of now says so."""
        study = self._study()
        return None if isinstance(study, StudyTrouble) else study

    def _now_view(self, store: Store, study: Study | StudyTrouble | None) -> dict[str, Any]:
        bench = self._look.bench
        latest = run_page(store, limit=LATEST).runs
        sources = bench.sources()
        return {
            "sources": sources,
            "notes": bench.notes(),
            "latest": latest,
            "counts": find.counts(store),
            "talking": sum(each.state in ("talking", "bringing in") for each in sources),
            "away": [each for each in sources if each.state == "away"],
            "next": self._next(store, study),
            "failures": FAILURES,
        }

    def _next(self, store: Store, study: Study | StudyTrouble | None) -> StepShown | StudyTrouble | None:
        """The study's next step; worked out anew only when the store, or the study's file, has changed."""
        if study is None or isinstance(study, StudyTrouble):
            return study
        beat, known = self._pulse.beat.store, self._step
        if known is None or known[:2] != (beat, study):
            known = self._step = (beat, study, step_shown(store, study))
        return known[2]

    async def runs(self, request: Request) -> Response:
        """Runs, searched and filtered."""
        words, label, state = _text(request, "words"), _text(request, "label"), _text(request, "state")
        begin = _number(request, "begin") or 0
        return await self._show(
            request, "runs.html", lambda store: runs_view(store, words, label, state, begin)
        )

    async def run(self, request: Request) -> Response:
        """One run."""
        return await self._show(request, "run.html", partial(run_view, name=request.path_params["run"]))

    async def octets(self, request: Request) -> Response:
        """Octets of a capture or a record."""
        run, of = request.path_params["run"], request.path_params["of"]
        reading, at = _number(request, "reading"), _number(request, "at")
        return await self._show(
            request, "octets.html", lambda store: octets_view(store, run, of, reading, at)
        )

    async def arrival(self, request: Request) -> Response:
        """Octets of an arrival as it came."""
        number, at = min(request.path_params["number"], _MOST), _number(request, "at") or 0
        return await self._show(request, "arrival.html", lambda store: arrival_view(store, number, at))

    async def held(self, request: Request) -> Response:
        """What waits for a person."""
        begin = _number(request, "begin") or 0
        return await self._show(request, "held.html", lambda store: held_view(store, begin))

    async def typing(self, request: Request) -> Response:
        """The form for a number that is held."""
        hold = request.path_params["hold"]
        return await self._show(request, "typing.html", lambda store: typing_view(store, hold))

    async def _typing_again(self, request: Request, hold: int, form: Form) -> Response:
        """The same form, with why what was sent is not kept."""
        view = await self._readers.ask(lambda store: typing_view(store, hold, form))
        return HTMLResponse(self._render("typing.html", {"beat": self._told(self._pulse.beat), **view}), 422)

    async def picture(self, request: Request) -> Response:
        """A captured picture, decoded and written anew."""
        run, position = request.path_params["run"], request.path_params["position"]
        octets = await self._readers.ask(lambda store: picture_png(store, run, position))
        return Response(octets, media_type="image/png")

    async def photograph(self, request: Request) -> Response:
        """A photograph that was attached."""
        sha256 = request.path_params["sha256"]
        found = await self._readers.ask(lambda store: photograph(store, sha256))
        return Response(found.octets, media_type=found.kind, headers={"content-disposition": "inline"})

    async def configurations(self, request: Request) -> Response:
        """Configurations side by side."""
        wanted = [each[:_LONGEST] for each in request.query_params.getlist("label")]
        study = self._sound_study()
        announced = study.labels if study else ()
        return await self._show(
            request, "configurations.html", lambda store: configurations_view(store, wanted, announced)
        )

    async def findings(self, request: Request) -> Response:
        """Two configurations judged."""
        base, other, rules = _text(request, "base"), _text(request, "other"), self._rules(request)
        return await self._show(
            request,
            "findings.html",
            lambda store: findings_view(store, base, other, rules),
            (self._pulse.beat.store, rules),
        )

    async def finding(self, request: Request) -> Response:
        """One finding with its boots and readings."""
        base, other = _text(request, "base"), _text(request, "other")
        program, arguments = _text(request, "program"), _text(request, "arguments")
        key = program, arguments, _text(request, "metric"), _text(request, "unit")
        rules = self._rules(request)
        return await self._show(
            request,
            "finding.html",
            lambda store: finding_view(store, base, other, key, rules),
            (self._pulse.beat.store, rules),
        )

    def _rules(self, request: Request) -> Rules:
        """By what findings are judged; ?by=page leaves the study aside."""
        return Rules(self._look.margin, self._study(), request.query_params.get("by") == "page")

    # -- answers -------------------------------------------------------------------------------------------------

    async def _show(self, request: Request, name: str, view: View, beat: object = None) -> Response:
        """A view as HTML; worked out once for all who ask for it before anything changes."""
        now = self._told(self._pulse.beat)
        key = (str(request.url.path), str(request.url.query), beat or self._pulse.beat.store)

        def answer(store: Store) -> bytes:
            return self._render(name, {"beat": now, **view(store)}).encode()

        return HTMLResponse(await self._readers.ask_once(key, answer))

    def _told(self, beat: Beat) -> str:
        """A beat as the viewers get it: with a word of this start of the program, for those from before it."""
        return f"{self._start}.{beat.store}.{beat.bench}"

    def _render(self, name: str, values: dict[str, Any]) -> str:
        look, study = self._look, self._sound_study()
        note = look.note or (INVENTED if study and study.invented else "")
        common = {"note": note, "store": look.store.name, "watching": look.watching, "view": name[:-5]}
        return self._templates.get_template(name).render({**common, **values})

    async def _trouble(self, request: Request, error: Exception) -> Response:
        assert isinstance(error, ReadoffError)
        posted = request.method == "POST"
        asked = 400 if posted else 404
        told = isinstance(error, UsageError | StudyError)
        status = asked if told else 503 if isinstance(error, StoreError) else 500
        values = {"sentence": error.sentence(), "beat": "", "posted": posted}
        return HTMLResponse(self._render("trouble.html", values), status)

    async def _nothing_there(self, request: Request, error: Exception) -> Response:
        sentence = "There is no such view; the names above lead to those that there are."
        return HTMLResponse(
            self._render("trouble.html", {"sentence": sentence, "beat": "", "posted": False}), 404
        )

    async def look(self, request: Request) -> Response:
        """The style sheet, the script, the sign, and the fonts of captured screens."""
        name = request.path_params["name"]
        if name not in _LOOKS:
            return PlainTextResponse("There is no such file.\n", 404)
        return FileResponse(_HERE / "look" / name, media_type=_LOOKS[name])

    async def changes(self, request: Request) -> Response:
        """A stream of events that says when something has changed; the viewer then asks for its view again."""
        if self._viewers >= VIEWERS:
            return PlainTextResponse(
                "There are as many viewers as there may be.\n", 503, {"retry-after": "15"}
            )
        return EventSourceResponse(self._stream(), ping=15, send_timeout=10)

    async def _changed(self) -> None:
        await self._pulse.changed()

    async def _stream(self) -> AsyncIterator[dict[str, str]]:
        self._viewers += 1
        try:
            async for beat in self._pulse.beats():
                yield {"event": "beat", "data": self._told(beat)}
        finally:
            self._viewers -= 1


# Control codes, and marks that turn the direction of what follows: shown as a dot, so that nothing works on a viewer.
_UNSEEN = {code: "·" for code in (*range(9), 11, 12, *range(14, 32), *range(127, 160))}
_UNSEEN |= dict.fromkeys((0x61C, *range(0x200E, 0x2010), *range(0x2028, 0x202F), *range(0x2066, 0x206A)), "·")


def _seen(value: object) -> object:
    """What a template says, before it is escaped."""
    return value.translate(_UNSEEN) if isinstance(value, str) and not isinstance(value, Markup) else value


def _number(request: Request, name: str) -> int | None:
    """A number of the query that is none is as if it were not there."""
    text = request.query_params.get(name, "")
    return min(int(text), _MOST) if text.isascii() and text.isdecimal() and len(text) < 20 else None


def _text(request: Request, name: str) -> str:
    return request.query_params.get(name, "")[:_LONGEST]


def _counted(number: int, word: str) -> str:
    return f"{number:,} {word}" + ("" if number == 1 else "s")


def _clock(at: str) -> str:
    """An ISO time of the store as people write it."""
    return at.replace("T", " ").replace("+00:00", " UTC")
