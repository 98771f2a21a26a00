"""What can be done through the page: a number typed, something attached or taken back, a failure of a study reported.

Each is one POST from a form of our own (the guard sees to that) and one transaction; then the browser is sent to the
view that shows it. Without scripts it works the same.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from contextlib import AbstractAsyncContextManager
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from readoff.errors import ReadoffError, UsageError
from readoff.page.typing_view import Form
from readoff.store import Store, entering, find
from readoff.store.attachments import Entry, attach, take_back
from readoff.store.entering import Meaning
from readoff.store.notes import add_note, withdraw
from readoff.store.photographs import MOST_OCTETS, clean
from readoff.studies.noting import check_note

if TYPE_CHECKING:
    from readoff.page.writer import Writer
    from readoff.studies import Study

_MOST_FIELD = 32 << 10

Deed = Callable[[Store], str]
"""Does something, and says where it can be seen."""


class Deeds:
    """The answers to every POST.

    study: reads the study's file, None where none was named. show_typing: the view for a form that was not kept.
    done: called after each deed, so that no view from before it is shown again.
    """

    def __init__(
        self,
        writer: Writer,
        study: Callable[[], Study] | None,
        show_typing: Callable[[Request, int, Form], Awaitable[Response]],
        done: Callable[[], Awaitable[None]],
    ) -> None:
        self._writer, self._study = writer, study
        self._show_typing, self._done = show_typing, done

    def routes(self) -> list[Route]:
        """Where they are."""
        return [
            Route("/held/{hold:int}", self.type_number, methods=["POST"]),
            Route("/attachments", self.attach, methods=["POST"]),
            Route("/attachments/{number:int}/back", self.take_back, methods=["POST"]),
            Route("/study/failures", self.fail, methods=["POST"]),
            Route("/study/failures/{number:int}/back", self.take_failure_back, methods=["POST"]),
        ]

    async def _do(self, deed: Deed) -> Response:
        try:
            where = await self._writer.do(deed)
        finally:
            await self._done()
        return RedirectResponse(where, status_code=303)

    async def type_number(self, request: Request) -> Response:
        """A number for what is held: typed twice, held against its neighbours, kept as typed by a person."""
        hold = int(request.path_params["hold"])
        async with _form(request) as told:
            names = ("first", "second", "metric", "unit", "better", "person")
            first, second, metric, unit, better, person = (_field(told, name) for name in names)
            form = Form(first, second, metric, unit, better, person)
            stands = _field(told, "stands")
        failed: list[Form] = []

        def deed(store: Store) -> str:
            what = entering.asked(store, hold)
            try:
                value = entering.agreed(form.first, form.second)
                metric = what.row.metric or form.metric
                known = entering.meanings(store, what, metric)
                meaning = entering.meant(known, Meaning(metric, form.unit, form.better))
                doubt = entering.beside_neighbours(store, what.full, meaning, value).doubt
                if doubt is not None and stands != value:
                    failed.append(replace(form, doubt=doubt, value=value))
                    return ""
                entering.keep_typed(store, what, meaning, value, form.person, datetime.now(UTC))
            except UsageError as error:
                failed.append(replace(form, first="", second="", trouble=_told(error)))
                return ""
            return f"/runs/{what.full.run.number}#typed"

        answer = await self._do(deed)
        return await self._show_typing(request, hold, failed[0]) if failed else answer

    async def attach(self, request: Request) -> Response:
        """A note or a photograph for a configuration or a run."""
        async with _form(request) as told:
            run, label = _field(told, "run"), _field(told, "label")
            text, person = _field(told, "text"), _field(told, "person")
            photo = await _photo(told)
        try:
            announced = self._study().labels if self._study is not None else ()
        except ReadoffError:
            announced = ()  # a faulty study stands in no note's way

        def deed(store: Store) -> str:
            row = find.run_in_full(store, run).run if run else None
            picture = clean(*photo) if photo else None
            entry = Entry(person, "" if row else label, row.id if row else "", text, picture)
            attach(store, entry, datetime.now(UTC), announced=announced)
            return f"/runs/{row.number}#attached" if row else "/configurations#attached"

        return await self._do(deed)

    async def take_back(self, request: Request) -> Response:
        """An attachment is shown no more."""
        number = int(request.path_params["number"])
        async with _form(request) as told:
            person = _field(told, "person")

        def deed(store: Store) -> str:
            gone = take_back(
                store, number, person=person, text="taken back on the page", at=datetime.now(UTC)
            )
            return f"/runs/{gone.run}#attached" if gone.run else "/configurations#attached"

        return await self._do(deed)

    async def fail(self, request: Request) -> Response:
        """A configuration or program of the study failed: a result, and the plan goes on without it."""
        study = self._read_study()
        async with _form(request) as told:
            label, program, text = (_field(told, name) for name in ("label", "program", "text"))
        check_note(study, label, program, text)

        def deed(store: Store) -> str:
            add_note(
                store,
                machine=study.machine,
                label=label,
                program=program,
                what="failure",
                text=text,
                at=datetime.now(UTC),
            )
            return "/#next"

        return await self._do(deed)

    async def take_failure_back(self, request: Request) -> Response:
        """A failure was none, or is put right."""
        study, number = self._read_study(), int(request.path_params["number"])

        def deed(store: Store) -> str:
            withdraw(
                store,
                number,
                machine=study.machine,
                text="taken back on the page",
                at=datetime.now(UTC),
            )
            return "/#next"

        return await self._do(deed)

    def _read_study(self) -> Study:
        if self._study is None:
            raise UsageError("no study was named when the page was started", next_step="Give --study FILE.")
        return self._study()


def _form(request: Request) -> AbstractAsyncContextManager[FormData]:
    return request.form(max_files=1, max_fields=12, max_part_size=_MOST_FIELD)


def _field(form: FormData, name: str) -> str:
    value = form.get(name, "")
    return value.replace("\r\n", "\n").strip() if isinstance(value, str) else ""


async def _photo(form: FormData) -> tuple[bytes, str] | None:
    """(octets, name) of the photograph that was sent, None where none was."""
    value = form.get("photo")
    if not isinstance(value, UploadFile) or not value.filename:
        return None
    return await value.read(MOST_OCTETS + 1), "the photograph"


def _told(error: UsageError) -> str:
    return f"{error.what[0].upper()}{error.what[1:]}. {error.next_step}".strip()
