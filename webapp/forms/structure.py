"""Adding, removing and moving what a document holds in lists. Nothing is saved: the result is a draft."""

import re
from collections.abc import Callable, Mapping
from copy import deepcopy
from typing import Any

from sfn.plan.proposal import device_start, name_for, route_like, site_like
from webapp.config.limits import whole_number
from webapp.forms.places import leaf_at, path_of
from webapp.forms.typed import rename

Draft = dict[str, Any]


def add_site(document: Mapping[str, Any]) -> Draft:
    """A site at the end, with one delay field and one chain; what only its engineer knows is left empty."""
    draft = _copy(document)
    name = _free("site", [site.get("id") for site in draft["sites"]])
    stage = _free(f"{name}-stage", [stage.get("id") for stage in draft["stages"]])
    draft["stages"].append(_new_stage(stage))
    draft["sites"].append(
        {
            "id": name,
            "name": "",
            "position": {"text": "", "crs": "EPSG:4326"},
            "erp_kw": {},
            "on_air": True,
            "offset_us": 0,
            "fed_off_air_from": None,
            "delay_fields": [_new_delay_field([])],
            "chains": [{"route": "main", "stages": [stage]}],
        }
    )
    return draft


def add_site_like(document: Mapping[str, Any], index: int) -> Draft:
    """A site at the end with chain and devices as another has them; an empty one where that site is not there."""
    if not 0 <= index < len(document.get("sites") or ()):
        return add_site(document)
    draft = _copy(document)
    site, stages = site_like(draft, index, name=_free("site", [site.get("id") for site in draft["sites"]]))
    draft["stages"] += stages
    draft["sites"].append(site)
    return draft


def made_like(document: Mapping[str, Any], number: int, index: int) -> Draft:
    """The document with chain and devices of a site replaced by proposals after another; the rest of it stays."""
    sites = document.get("sites") or ()
    if not (0 <= number < len(sites) and 0 <= index < len(sites)) or number == index:
        return _copy(document)
    kept = deepcopy(sites[index])
    draft = remove_site(document, index)
    after = number if number < index else number - 1
    made, stages = site_like(draft, after, name=str(kept.get("id") or "site"))
    draft["stages"] += stages
    draft["sites"].insert(index, kept | {key: made[key] for key in ("chains", "delay_fields")})
    return draft


def remove_site(document: Mapping[str, Any], index: int) -> Draft:
    """The document without a site and without the stages that only it used."""
    draft = _copy(document)
    if index >= len(draft["sites"]):
        return draft
    gone = _used_by(draft["sites"].pop(index), draft)
    kept = {entry for site in draft["sites"] for entry in _used_by(site, draft)}
    draft["stages"] = [stage for stage in draft["stages"] if stage.get("id") in kept or stage.get("id") not in gone]
    return draft


def act(document: Mapping[str, Any], action: str) -> Draft:
    """Do what a button of a form says.

    Parameters
    ----------
    document : mapping
        The document with what was typed already in it.
    action : str
        ``add PLACE``, ``remove PLACE``, ``up PLACE``, ``down PLACE`` or ``new-stage PLACE``, with the
        place as a field's name: ``add sites-0-delay_fields``, ``up sites-0-chains-0-stages-2``. Of a chain's entries
        also ``insert PLACE`` (a new stage before it), ``replace PLACE`` (by a new one) and ``split PLACE`` (a copy for
        this chain alone). ``add-like N`` and ``like PLACE N`` propose a site as site N has it, ``add-route PLACE`` a
        route, ``device PLACE KEY`` what a delay field counts in.
    """
    verb, _, rest = action.partition(" ")
    place, _, with_what = rest.partition(" ")
    path = path_of(place)
    if verb == "add-like":
        return add_site_like(document, whole_number(place) or 0)
    if verb == "like" and path[:1] == ("sites",) and isinstance(path[-1], int):
        return made_like(document, whole_number(with_what) or 0, path[-1])
    if verb in _CHAIN_ACTS:
        return _CHAIN_ACTS[verb](_copy(document), path)
    if verb == "device":
        return _with_device(_copy(document), path, with_what)
    if verb == "add" and path == ("sites",):
        return add_site(document)
    if verb == "remove" and len(path) == 2 and path[0] == "sites" and isinstance(path[1], int):
        return remove_site(document, path[1])
    draft = _copy(document)
    if verb in ("add", "new-stage"):
        entries = _entries(draft, path)
        if entries is not None:
            entries.append(_new_entry(draft, path))
        return draft
    index, entries = path[-1], _entries(draft, path[:-1])
    if entries is None or not isinstance(index, int) or index >= len(entries):
        return draft
    if verb == "remove":
        entries.pop(index)
    other = index - 1 if verb == "up" else index + 1
    if verb in ("up", "down") and 0 <= other < len(entries):
        entries[index], entries[other] = entries[other], entries[index]
    return draft


def _add_route(draft: Draft, path: tuple[str | int, ...]) -> Draft:
    """A route with a way of its own, as the proposals have it."""
    entries = _entries(draft, (*path, "chains"))
    if entries is None or not isinstance(path[-1], int):
        return draft
    taken = [chain.get("route") for chain in entries]
    route = next((r for r in ("main", "standby", "spare") if r not in taken), _free("spare", taken))
    chain, stages = route_like(draft, path[-1], route=route)
    draft["stages"] += stages
    entries.append(chain)
    return draft


def _insert(draft: Draft, path: tuple[str | int, ...]) -> Draft:
    """A new stage before an entry of a chain; behind the last where there is no such entry."""
    entries, at = _of_ids(draft, path[:-1]), path[-1]
    if entries is not None and isinstance(at, int):
        entries.insert(at, _new_entry(draft, path[:-1]))
    return draft


def _replace(draft: Draft, path: tuple[str | int, ...]) -> Draft:
    """A new stage of the same kind in the place of an entry; the old one stays where other chains pass it."""
    entries, at = _of_ids(draft, path[:-1]), path[-1]
    if entries is None or not isinstance(at, int) or at >= len(entries):
        return draft
    kind = next((stage.get("kind") for stage in draft["stages"] if stage.get("id") == entries[at]), "other")
    entries[at] = _new_entry(draft, path[:-1])
    draft["stages"][-1]["kind"] = kind
    return draft


def _split(draft: Draft, path: tuple[str | int, ...]) -> Draft:
    """A copy of a stage for one chain alone, with all of its figures."""
    entries, at = _of_ids(draft, path[:-1]), path[-1]
    if entries is None or not isinstance(at, int) or at >= len(entries):
        return draft
    stage = next((stage for stage in draft["stages"] if stage.get("id") == entries[at]), None)
    if stage is not None:
        whose = draft["sites"][path[1]].get("id") if path[0] == "sites" else "own"
        name = _free(f"{whose or 'site'}-{stage['id']}"[:60], [one.get("id") for one in draft["stages"]])
        draft["stages"].append({**deepcopy(stage), "id": name})
        entries[at] = name
    return draft


def _of_ids(draft: Draft, path: tuple[str | int, ...]) -> list[Any] | None:
    """The list of a chain's or a section's stages at a path."""
    found = leaf_at(path)
    return _entries(draft, path) if found is not None and found.kind == "ids" else None


_CHAIN_ACTS: Mapping[str, Callable[[Draft, tuple[str | int, ...]], Draft]] = {
    "add-route": _add_route,
    "insert": _insert,
    "replace": _replace,
    "split": _split,
}


def _with_device(draft: Draft, path: tuple[str | int, ...], key: str) -> Draft:
    """A delay field that counts as a generic device does."""
    entries, at, begun = _entries(draft, path[:-1]), path[-1], device_start(key)
    if (
        path[-2:-1] == ("delay_fields",)
        and entries is not None
        and begun is not None
        and isinstance(at, int)
        and at < len(entries)
    ):
        entries[at] = {**entries[at], **begun}
    return draft


def named_after(draft: Draft, before: Mapping[str, Any]) -> Draft:
    """New sites that have a name and still a placeholder for an id get one out of the name; their stages follow."""
    old = {str(one.get("id")) for kind in ("sites", "stages") for one in before.get(kind) or ()}
    for site in draft.get("sites") or ():
        placeholder, words = str(site.get("id") or ""), str(site.get("name") or "")
        if placeholder in old or not re.fullmatch(r"site(-\d+)?", placeholder) or not words.strip():
            continue
        site["id"] = name = name_for(words, [one.get("id") for one in draft["sites"]])
        renamed = {
            stage_id: f"{name}{stage_id.removeprefix(placeholder)}"
            for stage in draft.get("stages") or ()
            if (stage_id := str(stage.get("id"))).startswith(f"{placeholder}-") and stage_id not in old
        }
        rename(draft, {k: v for k, v in renamed.items() if v not in old}, "stages")
    return draft


def _copy(document: Mapping[str, Any]) -> Draft:
    draft: Draft = deepcopy(dict(document))
    for key in ("stages", "sites"):
        draft[key] = draft.get(key) or []
    return draft


def _entries(draft: Draft, path: tuple[str | int, ...]) -> list[Any] | None:
    """The list at a path, made where its record has none yet."""
    found = leaf_at(path)
    if found is None or found.kind not in ("records", "ids"):
        return None
    at: Any = draft
    for piece in path[:-1]:
        try:
            at = at[piece]
        except (KeyError, IndexError, TypeError):
            return None
    last = path[-1]
    if isinstance(at, dict) and isinstance(last, str):
        at.setdefault(last, [])
        return at[last] if isinstance(at[last], list) else None
    return None


def _new_entry(draft: Draft, path: tuple[str | int, ...]) -> Any:
    """An empty entry for the list at a path."""
    if path[-1] == "delay_fields":
        return _new_delay_field([f.get("name") for f in _entries(draft, path) or ()])
    if path[-1] == "chains":
        taken = [chain.get("route") for chain in _entries(draft, path) or ()]
        first: dict[str, Any] = next(iter(_entries(draft, path) or ()), {})
        route = next((r for r in ("main", "standby", "spare") if r not in taken), _free("spare", taken))
        return {"route": route, "stages": list(first.get("stages") or ())}
    stem = "stage"
    if path[0] == "sites" and isinstance(path[1], int):
        stem = f"{draft['sites'][path[1]].get('id') or 'site'}-stage"
    name = _free(stem, [stage.get("id") for stage in draft["stages"]])
    if path != ("stages",):
        draft["stages"].append(_new_stage(name))
        return name
    return _new_stage(name)


def _new_stage(name: str) -> dict[str, Any]:
    return {"id": name, "kind": "other", "source": "assumed"}


def _new_delay_field(taken: list[Any]) -> dict[str, Any]:
    return {"name": _free("delay", taken), "unit": "us", "sign": "later", "least": 0, "insertion_us": 0}


def _used_by(site: Mapping[str, Any], draft: Draft) -> set[str]:
    """Ids of the stages on a site's chains, and of those inside its time-stamped sections."""
    used = {entry for chain in site.get("chains") or () for entry in chain.get("stages") or ()}
    inside = {e for stage in draft["stages"] if stage.get("id") in used for e in stage.get("inside") or ()}
    return used | inside


def _free(stem: str, taken: list[Any]) -> str:
    """The stem, or the stem with the first number that nobody has."""
    stem = re.sub(r"[^A-Za-z0-9._ -]", "", stem) or "new"
    if stem not in taken:
        return stem
    return next(name for n in range(2, len(taken) + 3) if (name := f"{stem}-{n}") not in taken)
