"""Adding, removing and moving what a document holds in lists. Nothing is saved: the result is a draft."""

import re
from collections.abc import Mapping
from copy import deepcopy
from typing import Any

from webapp.forms.places import leaf_at, path_of

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
        place as a field's name: ``add sites-0-delay_fields``, ``up sites-0-chains-0-stages-2``.
    """
    verb, _, place = action.partition(" ")
    path = path_of(place)
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
