"""What page functions ask for by type: the store, the settings, the jobs, a network, a form."""

from collections.abc import AsyncIterator
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import Depends, Request
from starlette.datastructures import UploadFile

from sfn.field.shift import shift_says
from sfn.plan import Network
from webapp.contexts import NetworkHead
from webapp.documents import network_of
from webapp.jobs import Jobs
from webapp.maps import Maps
from webapp.places_said import names_in
from webapp.settings import Settings
from webapp.store import Saved, Store


@dataclass(frozen=True, slots=True)
class Opened:
    """The newest revision of the network that an address names."""

    head: NetworkHead
    saved: Saved
    document: dict[str, Any]
    """As it was typed: what forms edit."""
    network: Network
    """As the engine reads it: what answers are worked out from."""


def head_of(saved: Saved) -> NetworkHead:
    """What pages print of a revision."""
    document = saved.document
    return NetworkHead(saved.revision.network_id, str(document["name"]), saved.revision, names=names_in(document))


def opened(saved: Saved) -> Opened:
    """A revision with what pages print of it."""
    network = network_of(saved.document)
    names = names_in(saved.document)
    head = NetworkHead(saved.revision.network_id, network.name, saved.revision, shift_says(network), names)
    return Opened(head, saved, saved.document, network)


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
JobsDep = Annotated[Jobs, Depends(_jobs)]


def _network(network_id: int, store: StoreDep) -> Opened:
    return opened(store.read(network_id))


async def _form(request: Request, settings: SettingsDep) -> dict[str, str]:
    """Every typed field, the last of a name; files are taken by handlers that ask for them."""
    limits = settings.limits
    form = await request.form(max_fields=limits.form_fields, max_part_size=limits.body_bytes)
    return {name: value for name, value in form.multi_items() if not isinstance(value, UploadFile)}


async def _uploads(request: Request, settings: SettingsDep) -> AsyncIterator[dict[str, list[UploadFile]]]:
    """Every file that was chosen, by the name of its field; fields left empty are not there."""
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
FormDep = Annotated[dict[str, str], Depends(_form)]
UploadsDep = Annotated[dict[str, list[UploadFile]], Depends(_uploads)]
