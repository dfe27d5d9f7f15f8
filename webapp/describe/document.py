"""The document as JSON, in step with the forms: what was typed there stands here, and the other way round."""

from dataclasses import dataclass
from typing import ClassVar

from fastapi import Request
from fastapi.responses import Response

from webapp.config.addresses import Room
from webapp.describe.edit_form import Editor, editor
from webapp.shell.context import Context, NetworkHead
from webapp.shell.dependencies import NetworkDep, base_head
from webapp.shell.render import page
from webapp.standing.editing import Draft, fresh, looked_at
from webapp.store.documents import as_text

router = Room("document")


@dataclass(frozen=True, slots=True)
class DocumentPage(Context):
    """The document as JSON, for those who prefer it."""

    TEMPLATE: ClassVar[str] = "describe/document.html"
    TAB: ClassVar[str] = "network"
    network: NetworkHead
    """Which network, in which revision."""
    editor: Editor
    """What the form carries."""
    text: str
    """The document, or what was typed over it."""


@router.get("/networks/{network_id}/document")
def show(request: Request, network: NetworkDep) -> Response:
    """The newest revision's document."""
    return shown(request, fresh(network.saved))


def shown(request: Request, draft: Draft, *, status: int = 200) -> Response:
    """The page of a draft."""
    draft = looked_at(draft, request.app.state.maps, request.app.state.store)
    text = draft.text if draft.text is not None else as_text(draft.document)
    context = DocumentPage(network=base_head(request, draft.base), editor=editor(draft, "document"), text=text)
    return page(request, context, status=status)
