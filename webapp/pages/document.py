"""The document as JSON, in step with the forms: what was typed there stands here, and the other way round."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from webapp.contexts.network import DocumentPage
from webapp.dependencies import NetworkDep, base_head
from webapp.documents import as_text
from webapp.editing import Draft, fresh, looked_at
from webapp.pages.editor import editor
from webapp.render import page

router = APIRouter(include_in_schema=False)


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
