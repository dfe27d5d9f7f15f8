"""Transmitters of other programmes: a table that is typed or sent, and saved like every change of the document."""

from dataclasses import dataclass
from typing import Annotated, Any, ClassVar

from fastapi import File, Request, UploadFile
from fastapi.responses import Response

from sfn.errors import PlanError, Problem
from sfn.plan import OtherTransmitter
from sfn.plan.sheets import table_text
from sfn.reception.others import others_says, ratios_say
from sfn.study.other_table import HEAD, others_csv, understood_others
from sfn.systems.of_network import service_of
from webapp.config.addresses import Room, to
from webapp.describe.revisions import save_part
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import FormDep, Opened, ReadableDep, StoreDep
from webapp.shell.render import page

router = Room("others")


@dataclass(frozen=True, slots=True)
class OthersPage(Context):
    """The list, and the table that it is edited as."""

    TEMPLATE: ClassVar[str] = "describe/others.html"
    TAB: ClassVar[str] = "others"
    network: NetworkHead
    """Which network, in which revision."""
    listed: tuple[tuple[OtherTransmitter, str], ...]
    """Those of the saved revision, each with its ratios in words."""
    says: str
    """What figures know of other programmes."""
    table: str
    """The list as a table, as it was typed."""
    columns: str
    """Columns that a table may have."""
    author: str
    """Who saves, as it was typed."""
    reason: str
    """Why, as it was typed."""
    problems: tuple[Problem, ...]
    """What is wrong with what was sent."""


@router.get("/networks/{network_id}/others")
def show(request: Request, opened: ReadableDep) -> Response:
    """The list."""
    return page(request, _page(request, opened))


@router.post("/networks/{network_id}/others/upload")
def send(request: Request, opened: ReadableDep, file: Annotated[UploadFile, File()]) -> Response:
    """A file's table into the form, to be looked at; nothing is saved."""
    name = file.filename or "the file"
    try:
        content = file.file.read()
        understood_others(content, source=name)
        text = table_text(content, source=name)
    except PlanError as refused:
        return page(request, _page(request, opened, problems=refused.problems), status=422)
    return page(request, _page(request, opened, form={"table": text}))


@router.post("/networks/{network_id}/others")
def change(request: Request, store: StoreDep, opened: ReadableDep, form: FormDep) -> Response:
    """Save the table as the document's list."""

    def changed(document: dict[str, Any]) -> dict[str, Any]:
        """The document with the list."""
        before = document.pop("other_transmitters", None)
        found = understood_others(form.get("table", "").encode(), source="table", before=before)
        return document | ({"other_transmitters": list(found.entries)} if found.entries else {})

    return save_part(
        request, store, opened.head.id, form, changed, then=to("others.show", opened.head.id),
        refused=lambda problems: page(request, _page(request, opened, form=form, problems=problems), status=422),
    )  # fmt: skip


def _page(
    request: Request, opened: Opened, *, form: dict[str, str] | None = None, problems: tuple[Problem, ...] = ()
) -> OthersPage:
    """The page, with what a form sent as it was typed."""
    sent, network = form or {}, opened.network
    carried = service_of(network)
    return OthersPage(
        network=opened.head,
        listed=tuple((one, ratios_say(one, carried)) for one in network.other_transmitters or ()),
        says=others_says(network, carried),
        table=sent.get("table", others_csv(network.other_transmitters)),
        columns=", ".join(HEAD),
        author=sent.get("author", str(request.session.get("author", ""))),
        reason=sent.get("reason", ""),
        problems=problems,
    )
