"""What page functions ask for by type: the store, the settings, the jobs, a network, a form."""

import json
from collections.abc import AsyncIterator
from dataclasses import dataclass, replace
from typing import Annotated, Any

from fastapi import Depends, Request
from starlette.datastructures import UploadFile

from sfn.errors import PlanError, Problem
from sfn.field.indoors import indoors_says
from sfn.field.shift import drive_says
from sfn.plan import Network
from sfn.plan.left_out import left_out_document, left_out_says
from sfn.reception.class_says import quick_rule
from sfn.study.states import state_says
from sfn.terrain.credits import network_credits
from sfn.timing.planned_state import in_state
from sfn.timing.readable import readable
from webapp.config.limits import LONGEST_PERSON_N, NetworkId
from webapp.config.settings import Settings
from webapp.shell.context import NetworkHead
from webapp.shell.places_said import names_in
from webapp.store.approvals import unapproved
from webapp.store.audit import ACTING
from webapp.store.frozen import UNFROZEN, unfrozen
from webapp.store.roles import Person, current_user
from webapp.store.store import Saved, Store
from webapp.work.jobs import Jobs
from webapp.work.maps import Maps


@dataclass(frozen=True, slots=True)
class Opened:
    """The newest revision of the network that an address names."""

    head: NetworkHead
    saved: Saved
    document: dict[str, Any]
    """As it was typed: what forms edit."""
    network: Network
    """As the engine reads it, set to what was last reported: what answers are worked out from."""


def head_of(saved: Saved) -> NetworkHead:
    """What pages print of a revision."""
    document = saved.document
    return NetworkHead(saved.revision.network_id, str(document["name"]), saved.revision, names=names_in(document))


def base_head(request: Request, saved: Saved) -> NetworkHead:
    """What editing pages print of the revision that a draft was made from."""
    store: Store = request.app.state.store
    number, document = saved.revision.network_id, saved.document
    read: Network | None = getattr(request.state, "opened", None)
    whose = () if read is None else network_credits(read, folder=_maps(request).terrain_folder)
    frozen, urgent = unfrozen(store, number, document), _urgent(store, number, document)
    return replace(head_of(saved), unfrozen=frozen, urgent=urgent, credits=whose)


def _urgent(store: Store, network_id: int, document: dict[str, Any]) -> tuple[str, ...]:
    """Sheets that are out after an emergency, in words."""
    return tuple(one.says for one in unapproved(store, network_id, document))


def opened(saved: Saved, store: Store, maps: Maps) -> Opened:
    """A revision with what pages print of it, its fields set to what was last reported of them."""
    network = maps.standing(store, saved)
    told = () if network.reported is None else network.reported.problems
    thawed = tuple(problem for problem in told if problem.code == UNFROZEN)
    return Opened(
        replace(
            head_of(saved),
            corrected=drive_says(network),
            indoors=indoors_says(network),
            quick_by=quick_rule(network),
            unfrozen=thawed,
            urgent=_urgent(store, saved.revision.network_id, saved.document),
        ),
        saved,
        saved.document,
        network,
    )


def in_part(found: Opened) -> Opened:
    """A revision of which only what can be read is worked with.

    Raises
    ------
    PlanError
        If nothing of it can be read.
    """
    network = readable(found.network)
    return replace(found, head=head_without(found.head, network), network=network)


def head_without(head: NetworkHead, network: Network) -> NetworkHead:
    """What pages print of a revision of which `network` is the part that can be read."""
    gone = network.left_out
    said = left_out_says(gone)
    return replace(head, left_out=tuple(left_out_document(gone)), left_out_says=said, unjudged=network.unjudged)


def _store(request: Request) -> Store:
    store: Store = request.app.state.store
    return store


def _settings(request: Request) -> Settings:
    settings: Settings = request.app.state.settings
    return settings


def _jobs(request: Request) -> Jobs:
    jobs: Jobs = request.app.state.jobs
    return jobs


def _maps(request: Request) -> Maps:
    maps: Maps = request.app.state.maps
    return maps


MapsDep = Annotated[Maps, Depends(_maps)]
StoreDep = Annotated[Store, Depends(_store)]
SettingsDep = Annotated[Settings, Depends(_settings)]
PersonDep = Annotated[Person, Depends(current_user)]
JobsDep = Annotated[Jobs, Depends(_jobs)]


def read_network(request: Request, store: Store, network_id: int) -> Opened:
    """The newest revision; its faults stand on the page (`webapp.shell.render`)."""
    found = opened(store.read(network_id), store, _maps(request))
    request.state.opened = found.network
    whose = network_credits(found.network, folder=_maps(request).terrain_folder)
    return replace(found, head=replace(found.head, credits=whose))


def _network(request: Request, network_id: NetworkId, store: StoreDep) -> Opened:
    return read_network(request, store, network_id)


def _readable(request: Request, network_id: NetworkId, store: StoreDep) -> Opened:
    return in_part(read_network(request, store, network_id))


def _stated(request: Request, network_id: NetworkId, store: StoreDep, state: str = "") -> Opened:
    return in_its_state(read_network(request, store, network_id), state)


def _readable_stated(request: Request, network_id: NetworkId, store: StoreDep, state: str = "") -> Opened:
    return in_its_state(in_part(read_network(request, store, network_id)), state)


def in_its_state(found: Opened, state: str) -> Opened:
    """A revision in one of its planned states; pages that show it bear a line that says so.

    Raises
    ------
    PlanError
        If it has no such state.
    """
    network = in_state(found.network, state)
    if network.state is None:
        return found
    return replace(
        found, network=network, head=replace(found.head, state=network.state.name, state_says=state_says(network))
    )


async def _form(request: Request, settings: SettingsDep) -> dict[str, str]:
    """Every typed field, the last of a name; files are taken by handlers that ask for them."""
    return {name: values[-1] for name, values in (await _lists(request, settings)).items() if values}


async def _lists(request: Request, settings: SettingsDep) -> dict[str, list[str]]:
    """Every typed field with all its values, out of a form or out of a script's JSON object.

    Where names are proven, that of who is signed in stands for whatever name was typed.
    """
    found = await _typed_lists(request, settings)
    person = current_user(request)
    if person.named:
        typed = next((found[name][-1] for name in NAMES if name in found), "")
        wanted = NAMES if "/sheets/" in request.url.path else ("author",)
        found |= {name: [proven(request, typed)] for name in NAMES if name in found or name in wanted}
    return found


NAMES = ("author", "signed_by", "issued_by")
"""Fields of forms that say who does it."""


def proven(request: Request, typed: str) -> str:
    """The name under which something is done; a name that was typed beside a proven one is kept in the audit trail."""
    person = current_user(request)
    if not person.named:
        return typed
    if typed.strip() not in ("", person.name):
        ACTING.set(replace(ACTING.get(), remark=typed.strip()[:LONGEST_PERSON_N]))
    return person.name


async def _typed_lists(request: Request, settings: SettingsDep) -> dict[str, list[str]]:
    """The same as it was sent."""
    if _is_json(request):
        return _of_json(await request.body())
    limits = settings.limits
    form = await request.form(max_fields=limits.form_fields, max_part_size=limits.body_bytes)
    found: dict[str, list[str]] = {}
    for name, value in form.multi_items():
        if not isinstance(value, UploadFile):
            found.setdefault(name, []).append(value)
    return found


def _is_json(request: Request) -> bool:
    """Whether a script sent a JSON object instead of a form."""
    return request.headers.get("content-type", "").partition(";")[0].strip() == "application/json"


def whole_characters(sent: object) -> bytes:
    """JSON written anew; refused where it holds half a character (a lone surrogate), which nothing could carry.

    Raises
    ------
    PlanError
        If it does.
    """
    try:
        return json.dumps(sent, ensure_ascii=False).encode()
    except UnicodeEncodeError:
        what, expected = "holds half a character", "text in Unicode, surrogates in pairs"
        raise PlanError([Problem("body", what, expected, code="character-lost")]) from None


def _of_json(body: bytes) -> dict[str, list[str]]:
    """A script's JSON object as form fields; true is a ticked box, false and null one that is not."""
    try:
        sent = json.loads(body)
    except (ValueError, RecursionError):
        sent = None
    whole_characters(sent)
    if not isinstance(sent, dict):
        raise PlanError([Problem("body", "is no JSON object", "the form's fields by name", code="no-json-object")])
    found: dict[str, list[str]] = {}
    for name, value in sent.items():
        several = value if isinstance(value, list) else [value]
        if any(isinstance(one, dict | list) for one in several):
            raise PlanError(
                [
                    Problem(
                        name,
                        "is no value of a field",
                        "text, a number, true, false, or a list of these",
                        code="not-a-field-value",
                        fields=(name,),
                    )
                ]
            )
        texts = ["yes" if one is True else str(one) for one in several if one is not None and one is not False]
        if texts:
            found[name] = texts
    return found


async def _uploads(request: Request, settings: SettingsDep) -> AsyncIterator[dict[str, list[UploadFile]]]:
    """Every file that was chosen, by the name of its field; fields left empty are not there."""
    if _is_json(request):
        yield {}
        return
    limits = settings.limits
    form = await request.form(max_fields=limits.form_fields, max_part_size=limits.body_bytes)
    found: dict[str, list[UploadFile]] = {}
    for name, value in form.multi_items():
        if isinstance(value, UploadFile) and value.filename:
            found.setdefault(name, []).append(value)
    try:
        yield found
    finally:
        await form.close()


NetworkDep = Annotated[Opened, Depends(_network)]
ReadableDep = Annotated[Opened, Depends(_readable)]
"""For pages of reception: `network` is the part that can be read, and the head names who is left out."""
StatedDep = Annotated[Opened, Depends(_stated)]
"""In the planned state that ``state=NAME`` of the address names."""
ReadableStatedDep = Annotated[Opened, Depends(_readable_stated)]
"""The same of what can be read: for the map and for points."""
FormDep = Annotated[dict[str, str], Depends(_form)]
ListsDep = Annotated[dict[str, list[str]], Depends(_lists)]
UploadsDep = Annotated[dict[str, list[UploadFile]], Depends(_uploads)]
