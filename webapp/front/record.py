"""The record: who did what, when and from where, as a page and as JSON lines."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, ClassVar
from urllib.parse import urlencode

from fastapi import Query, Request
from fastapi.responses import Response, StreamingResponse

from webapp.config.addresses import Room, to
from webapp.config.limits import LONGEST_PERSON_N, NetworkId
from webapp.shell.context import Context
from webapp.shell.dependencies import StoreDep
from webapp.shell.render import page
from webapp.store.audit import Line
from webapp.store.store import Store

router = Room("record")
SHOWN_N = 200
Short = Annotated[str, Query(max_length=LONGEST_PERSON_N)]


@dataclass(frozen=True, slots=True)
class RecordPage(Context):
    """Who did what, when and from where."""

    TEMPLATE: ClassVar[str] = "front/record.html"
    lines: tuple[Line, ...]
    """The newest first."""
    actions: tuple[str, ...]
    """Kinds of things that were done, to choose from."""
    action: str
    who: str
    older: str
    """Address of the lines before these; empty where there are none."""


@router.get("/record")
def show(
    request: Request, store: StoreDep, action: Short = "", who: Short = "", below: NetworkId | None = None
) -> Response:
    """The newest lines, of one kind or one person where asked for."""
    lines = store.audit.lines(action=action, who=who, below=below, most=SHOWN_N)
    older = ""
    if len(lines) == SHOWN_N:
        asked = {"action": action, "who": who, "below": str(lines[-1].id)}
        older = to("record.show", query=urlencode({key: value for key, value in asked.items() if value}))
    return page(request, RecordPage(lines, store.audit.actions(), action, who, older))


@router.get("/record.jsonl")
def as_lines(store: StoreDep) -> Response:
    """Every line, the oldest first, one JSON object a line."""
    store.audit.add("record exported")
    return StreamingResponse(_lines(store), media_type="application/jsonl")


def _lines(store: Store) -> Iterator[str]:
    """The text."""
    for line in store.audit.all():
        yield json.dumps(line.as_json(), ensure_ascii=False) + "\n"
