"""The head-end sheet: delays that are sent in the stream, by transmitter identifier, for whoever enters them there."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import Request
from fastapi.responses import Response

from webapp.config.addresses import Room, to
from webapp.on_air.printing import HeadEndLine, as_file, code_says, locked, printed_head_end
from webapp.paper import Paper, pdf
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import MapsDep, NetworkDep, SettingsDep, StoreDep
from webapp.shell.languages import crew_language
from webapp.shell.public import public_address
from webapp.shell.render import page
from webapp.standing.release import Released, released

router = Room("head_end")


@dataclass(frozen=True, slots=True)
class HeadEndPage(Context):
    """Delays sent in the stream, by transmitter identifier."""

    TEMPLATE: ClassVar[str] = "on_air/head_end.html"
    TAB: ClassVar[str] = "sheets"
    network: NetworkHead
    """Which network, in which revision."""
    lines: tuple[HeadEndLine, ...]
    """One line a field and route."""
    issued: bool
    """Whether every one of them may be entered."""
    address: str
    """Where this page is found by others; empty where the application has no public address."""
    crew: str
    """The language of the crew, in which it is printed."""

    def language(self) -> str:
        """The crew's."""
        return self.crew


@router.get("/networks/{network_id}/head-end")
def show(request: Request, opened: NetworkDep, store: StoreDep, maps: MapsDep, settings: SettingsDep) -> Response:
    """Every field that is entered at the head-end."""
    address = public_address(settings, to("head_end.show", opened.head.id))
    lines = head_end_lines(released(opened, store, maps))
    issued = all(line.line.issued for line in lines)
    return page(request, HeadEndPage(opened.head, lines, issued, address, crew_language(opened.network)))


@router.get("/networks/{network_id}/head-end.pdf")
def as_pdf(opened: NetworkDep, store: StoreDep, maps: MapsDep, settings: SettingsDep, paper: Paper = "a4") -> Response:
    """The same as a PDF."""
    address = public_address(settings, to("head_end.show", opened.head.id))
    lines, number = head_end_lines(released(opened, store, maps)), opened.head.revision.number
    opens = code_says(number, locked=locked(store, settings), language=crew_language(opened.network))
    made = pdf(printed_head_end(opened, lines, address=address, opens=opens), paper=paper)
    issued = all(line.line.issued for line in lines)
    return as_file(made, f"head-end-network-{opened.head.id}-revision-{number}{'' if issued else '-not-issued'}.pdf")


def head_end_lines(found: Released) -> tuple[HeadEndLine, ...]:
    """The fields of all sites that are entered at the head-end, in the order of the document."""
    made = []
    for line in found.lines:
        away = {f.name: f.transmitter_id or "" for f in line.sheet.site.delay_fields if f.entered_at == "head-end"}
        for route in line.sheet.routes:
            made += [HeadEndLine(line, route, f, away[f.name]) for f in route.fields if f.name in away]
    return tuple(made)
