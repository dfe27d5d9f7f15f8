"""Places of a document in words, for people: ``sites[2].position.crs`` as "Long gap: position, datum or projection"."""

import re
from collections import Counter
from collections.abc import Mapping
from contextvars import ContextVar
from typing import Any

from sfn.plan import DelayField, Network, Site, SiteName, Stage
from sfn.units import grouped
from webapp.forms.fields import label_of

# Names of the sites and stages of the network that a page is about, in the order of its document.
NAMES: ContextVar[Mapping[str, tuple[str, ...]]] = ContextVar("names", default={})  # noqa: B039  never changed in place
_PATH = re.compile(r"[a-z][a-z0-9_]*(\[\d+\])?(\.[a-z][a-z0-9_]*(\[\d+\])?)*")
_PIECE = re.compile(r"([a-z0-9_]+)(?:\[(\d+)\])?")
_ONE = {"sites": "site", "stages": "stage", "delay_fields": "delay field", "chains": "chain", "weights": "weight"}
_KEY = re.compile(r"\b[a-z]+(?:_[a-z0-9]+)+\b")
_KEYS = frozenset(key for record in (Stage, Site, DelayField, Network) for key in record.model_fields)
# A number before a unit, not part of a name, a date or a range.
_AMOUNT = re.compile(r"(?<![\w.,:/\u202f+\u2212-])([+-]?)(\d[\d\u202f]*)(\.\d+)?(?=[ \u202f](?:us|ms|dB|m|km)\b)")
_MICROSECONDS = re.compile(r"(\d) us\b")


def names_in(document: Mapping[str, Any]) -> dict[str, tuple[str, ...]]:
    """What the sites and stages of a document are called, and the ids of the sites."""
    return {
        "sites": tuple(str(site.get("name") or site.get("id") or "") for site in document.get("sites") or ()),
        "site_ids": tuple(str(site.get("id") or "") for site in document.get("sites") or ()),
        "stages": tuple(f"stage {stage.get('id') or ''}".strip() for stage in document.get("stages") or ()),
    }


def site_said(site_id: str) -> str:
    """A site's name within a sentence, with its id where another bears the name too; its id where it is not known."""
    known = NAMES.get()
    named = dict(zip(known.get("site_ids", ()), known.get("sites", ()), strict=False))
    name = named.get(site_id)
    if name is None:
        return site_id
    return format(SiteName(name if Counter(named.values())[name] == 1 else f"{name} ({site_id})"))


def place_said(where: str) -> str:
    """A place of a document in words; anything that is no such place stays as it is.

    Examples
    --------
    >>> place_said("sites[1].delay_fields[0].greatest")
    'site 2: delay field 1, greatest'
    >>> place_said("night.csv line 3 column lat")
    'night.csv line 3 column lat'
    """
    if not _is_place(where):
        return where
    said = [_piece(found[1], found[2]) for found in _PIECE.finditer(where)]
    head, rest = said[0], said[1:]
    return f"{head}: {', '.join(rest)}" if rest and "[" in where.partition(".")[0] else ", ".join(said)


def text_said(text: str, where: str = "") -> str:
    """A sentence of the engine's as a page prints it: microseconds with their letter, keys of a document in words.

    Examples
    --------
    >>> text_said("latency_us is missing", "stages[1]")
    'latency is missing'
    """
    if _is_place(where) and ("[" in where or "." in where):
        # A site may be called like a key: names stay as they are.
        names = {word for called in NAMES.get().values() for name in called for word in _KEY.findall(name)}
        text = _KEY.sub(lambda key: label_of(key[0]) if key[0] in _KEYS - names else key[0], text)
    text = _AMOUNT.sub(_amount_said, text.replace("+-", "±"))
    return _MICROSECONDS.sub("\\1\u202f\u00b5s", text).replace("dBuV/m", "dB\u00b5V/m")


def _amount_said(found: re.Match[str]) -> str:
    """An amount with the one minus sign, its thousands set apart as everywhere."""
    sign, whole, part = found[1], found[2], found[3] or ""
    return ("−" if sign == "-" else sign) + (grouped(int(whole)) if whole.isdigit() else whole) + part


def _is_place(where: str) -> bool:
    """Whether a text is a place of the document, or one word."""
    first = where.partition(".")[0].partition("[")[0]
    return bool(_PATH.fullmatch(where)) and (first == where or first in Network.model_fields)


def _piece(key: str, index: str | None) -> str:
    """One step of a path."""
    if index is None:
        return label_of(key)
    names = NAMES.get().get(key, ())
    if int(index) < len(names) and names[int(index)]:
        return names[int(index)]
    return f"{_ONE.get(key, label_of(key))} {int(index) + 1}"
