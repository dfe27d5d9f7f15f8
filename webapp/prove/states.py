"""Planned states of a network: put into the plan, or taken out of it, as a new revision."""

import copy
from collections.abc import Iterator, Mapping
from typing import Any

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from sfn.errors import PlanError, Problem
from sfn.plan import Site
from webapp.config.addresses import Room, to
from webapp.prove.timeline import timeline_page
from webapp.shell.dependencies import FormDep, NetworkDep, StoreDep
from webapp.shell.render import notice, page
from webapp.shell.saving import author_of, save
from webapp.store.documents import network_of
from webapp.work.measurements import number_of

router = Room("states")


@router.post("/networks/{network_id}/states")
def change(request: Request, opened: NetworkDep, store: StoreDep, form: FormDep) -> Response:
    """Plan a state, or drop one by its name."""
    name, drop = form.get("state", "").strip(), form.get("do") == "drop"
    document = copy.deepcopy(opened.document)
    kept = [one for one in document.get("planned") or () if one["name"].strip().casefold() != name.casefold()]
    try:
        author = author_of(form)
        if not drop:
            kept.append(_state(form, opened.network.sites))
        elif len(kept) == len(document.get("planned") or ()):
            what = f"there is no planned state {name!r}"
            raise PlanError([Problem("state", what, "one of those listed", code="unknown-state", fields=("state",))])
        document["planned"] = kept
        if not kept:
            del document["planned"]
        network_of(document, opened.network.own_services)  # what cannot be planned is said beside the form
    except PlanError as refused:
        return page(request, timeline_page(opened, store, "", typed=form, problems=refused.problems), status=422)
    reason = f"planned state {name}" + (" dropped" if drop else f" from {form.get('date', '').strip()}")
    save(request, store, opened, document, form, author=author, reason=reason[:500])
    notice(request, "Saved as a new revision. Sheets and the change plan go by today as before.")
    return RedirectResponse(to("timeline.show", opened.head.id, fragment="states"), 303)


def _state(form: Mapping[str, str], sites: tuple[Site, ...]) -> dict[str, Any]:
    """A state as the document has it, out of a form."""
    made: dict[str, Any] = {"name": form.get("state", "").strip(), "date": form.get("date", "").strip()}
    made |= {key: form[key].strip() for key in ("until", "note") if form.get(key, "").strip()}
    if form.get("common_delay_us", "").strip():
        made["common_delay_us"] = number_of(form, "common_delay_us", usual=0.0, least=0.0, greatest=6e7, unit="us")
    made["changes"] = [change for site in sites if len(change := dict(_change(form, site.id))) > 1]
    if not made["changes"]:
        what = "nothing changes in it"
        raise PlanError([Problem("changes", what, "at least one site that is otherwise", code="nothing-planned")])
    return made


def _change(form: Mapping[str, str], site_id: str) -> Iterator[tuple[str, Any]]:
    """What is otherwise at one site; fields left empty change nothing."""
    yield "site", site_id
    air, route = form.get(f"air-{site_id}", ""), form.get(f"route-{site_id}", "").strip()
    if air in ("on", "off"):
        yield "on_air", air == "on"
    for key, name, most, unit in (("power_db", "power", 60.0, "dB"), ("offset_us", "offset", 6e7, "us")):
        if form.get(f"{name}-{site_id}", "").strip():
            yield key, number_of(form, f"{name}-{site_id}", usual=0.0, least=-most, greatest=most, unit=unit)
    if route:
        yield "route", route
