"""The timeline for scripts: ``/api/networks/ID/timeline``; part of the interface of `webapp.api`."""

from typing import Any

from fastapi import APIRouter

from sfn.answer.timeline import document
from webapp.dependencies import NetworkDep, StoreDep
from webapp.happened import timeline_of
from webapp.problems import RefusedError

router = APIRouter(tags=["answers"])


@router.get("/networks/{network_id}/timeline")
def answer_timeline(opened: NetworkDep, store: StoreDep, site: str = "") -> dict[str, Any]:
    """What happened to every site, or to one, the oldest first by when it held, and what stands there now."""
    if site and site not in {one.id for one in opened.network.sites}:
        raise RefusedError(404)
    found, left_out = timeline_of(opened, store, site_id=site)
    return document(found, revision=opened.head.revision.number) | {"older_revisions_not_looked_at": left_out}
