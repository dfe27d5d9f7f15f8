"""What the office enters on the timeline: a setting told, a device replaced, muting, a lock proof, a complaint."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any

import numpy as np

from sfn.errors import PlanError, Problem
from sfn.geodesy.position import locate
from sfn.geodesy.sites import placed_sites
from sfn.plan import Network
from sfn.plan.number_text import number_written
from sfn.study.timeline import Present
from sfn.survey.log_places import judged
from sfn.survey.readings import question_setting
from sfn.timeline.held import Held, held, instant
from webapp.config.limits import whole_number
from webapp.standing.readings import time_typed
from webapp.store.timeline import COMPLAINT, LOCK, MUTED, RADIATES, REPLACED, TOLD, UNMUTED, as_kept

LOCKED = (
    ("carrier", "carrier"),
    ("pilot", "pilot"),
    ("deviation", "deviation"),
    ("polarity", "polarity"),
)
"""What a proof of lock says, by its key."""
_LONGEST = 1000


def entry_of(
    kind: str, form: Mapping[str, str], *, network: Network, fields: Sequence[Present], now: datetime
) -> dict[str, Any]:
    """What is kept of a form of the timeline page.

    Parameters
    ----------
    kind : str
        One of the kinds that the office enters.
    form : mapping
        ``site``, ``taken_at`` (empty: now), ``words``, and what the kind asks for.
    network : Network
    fields : sequence of Present
        Of the site, in the order of the form's ``set-1``, ``set-2``, ...
    now : datetime

    Raises
    ------
    PlanError
        With each field that cannot be used.
    """
    problems: list[Problem] = []
    if kind not in _MAKERS:
        raise PlanError([_no("kind", f"{kind[:40]!r} is nothing to enter", ", ".join(_MAKERS), "unknown-kind")])
    site = form.get("site", "")
    if site not in {one.id for one in network.sites} and not (kind == COMPLAINT and not site):
        problems.append(_no("site", f"there is no site {site[:60]!r}", "a site of the plan", "unknown-site"))
    time_typed(form.get("taken_at", ""), now, problems)
    body = _MAKERS[kind](form, fields, network, problems)
    if problems:
        raise PlanError(problems)
    return {**body, **as_kept(held_at(instant(form.get("taken_at", "")), now=now))}


def held_at(typed_at: datetime | None, *, now: datetime) -> Held:
    """When something held that the office enters: as typed, to the minute; else now, by the server's own clock."""
    if typed_at is None:
        return Held.sure(now)
    return held(arrived_at=now, typed_at=typed_at, pressed_at=None, clock_at=None)


def told_body(as_set: Mapping[str, Any], units: Mapping[str, str], *, route: str, words: str = "") -> dict[str, Any]:
    """A report of settings in the shape in which readings are kept."""
    texts = {"remarks": words} if words else {}
    return {
        "route": route, "as_set": dict(as_set), "units": dict(units), "readings_us": [], "plane": "",
        "test_cable_us": 0.0, "demodulator_us": 0.0, "texts": texts, "confirmed": [],
    }  # fmt: skip


def _told(
    form: Mapping[str, str], fields: Sequence[Present], network: Network, problems: list[Problem]
) -> dict[str, Any]:
    """What somebody says is set; one route at a time, as a device keeps it."""
    values: dict[str, dict[str, str]] = {}
    units = {}
    for n, one in enumerate(fields, 1):
        text = form.get(f"set-{n}", "").strip()
        if not text:
            continue
        try:
            number_written(text)
        except ValueError as wrong:
            problems.append(_no(f"set-{n}", str(wrong), f"a number in {one.unit}", "not-a-number"))
            continue
        values.setdefault(one.route, {})[one.field] = text
        units[one.field] = one.unit
    if not values:
        problems.append(_no("set-1", "nothing was typed", "what a field is set to", "nothing-typed"))
        return {}
    if len(values) > 1:
        what = f"values of {' and '.join(route or 'all routes' for route in values)} were typed together"
        problems.append(_no("set-1", what, "one route at a time", "several-routes"))
    route, as_set = next(iter(values.items()))
    if form.get("sure") != "yes":
        problems.extend(_odd(form, fields, network, form.get("site", "")))
    return told_body(as_set, units, route=route or "main", words=_text(form, "words"))


def _odd(form: Mapping[str, str], fields: Sequence[Present], network: Network, site_id: str) -> Iterator[Problem]:
    """Values that look like a slip of the pen for what is planned or stood there, or that the field cannot take."""
    named = {own.name: own for site in network.sites if site.id == site_id for own in site.delay_fields}
    for n, one in enumerate(fields, 1):
        text = form.get(f"set-{n}", "").strip()
        try:
            same = float(number_written(text)) == one.value
        except ValueError:
            continue
        known = {} if same else {"planned": one.planned, "old": one.value}
        for question in question_setting(text, field=named[one.field], slips_alone=True, **known):
            expected = "the value as the device shows it, or the box ticked"
            yield _no(f"set-{n}", f"{one.field}: {question}", expected, "setting-odd")


def _replaced(
    form: Mapping[str, str], _fields: Sequence[Present], _network: Network, problems: list[Problem]
) -> dict[str, Any]:
    """A new device: with what it is set to where that is known already, which is then told on its own."""
    words = _text(form, "words")
    if not words:
        problems.append(_no("words", "nothing says what was replaced", "which device, by which", "nothing-typed"))
    return told_body({}, {}, route="main", words=words)


def _silence(
    form: Mapping[str, str], _fields: Sequence[Present], _network: Network, _problems: list[Problem]
) -> dict[str, Any]:
    """Muted, or on air again."""
    return {"texts": {"remarks": words} if (words := _text(form, "words")) else {}}


def _radiates(
    form: Mapping[str, str], _fields: Sequence[Present], _network: Network, problems: list[Problem]
) -> dict[str, Any]:
    """As which revision it radiates; `entered_under` asks whether that is one with this site."""
    words, number = _text(form, "words"), whole_number(form.get("as_revision", "").strip())
    if number is None:
        what = f"{form.get('as_revision', '')[:40]!r} is no revision"
        problems.append(_no("as_revision", what, "the number of the one as which it radiates", "unknown-revision"))
    if not words:
        what = "nothing says who changed or looked at it, and how that is known"
        problems.append(_no("words", what, "by whom, and what was read", "nothing-typed"))
    return {"as_revision": number, "texts": {"remarks": words}}


def _lock(
    form: Mapping[str, str], _fields: Sequence[Present], _network: Network, problems: list[Problem]
) -> dict[str, Any]:
    """Whether carrier, pilot, deviation and polarity were proven."""
    found = {key: form.get(f"lock-{key}", "") for key, _ in LOCKED}
    for key, label in LOCKED:
        if found[key] not in ("agrees", "differs", "not checked"):
            expected = "agrees, differs, or not checked"
            problems.append(_no(f"lock-{key}", f"nothing is said of the {label}", expected, "choice-missing"))
    proven = all(value == "agrees" for value in found.values())
    return {**found, "proven": proven, "texts": {"remarks": words} if (words := _text(form, "words")) else {}}


def _complaint(
    form: Mapping[str, str], _fields: Sequence[Present], network: Network, problems: list[Problem]
) -> dict[str, Any]:
    """Place, receiver and words of a listener; where the place is a position, that too."""
    place, words = _text(form, "place"), _text(form, "words")
    if not place:
        problems.append(_no("place", "nothing says where it was heard", "a place, or a position", "nothing-typed"))
    if not words:
        problems.append(_no("words", "nothing says what was heard", "the listener's words", "nothing-typed"))
    body: dict[str, Any] = {"place": place, "receiver": _text(form, "receiver"), "texts": {"remarks": words}}
    if typed := _text(form, "at"):
        try:
            at = locate(text=typed, where="at")
        except PlanError as refused:
            problems.extend(refused.problems)
        else:
            body |= {"lat_deg": round(at.lat_deg, 6), "lon_deg": round(at.lon_deg, 6)}
            if form.get("sure") != "yes":
                problems.extend(_misplaced(at.lat_deg, at.lon_deg, network))
    return body


def _misplaced(lat_deg: float, lon_deg: float, network: Network) -> Iterator[Problem]:
    """What looks wrong with a position, as it is asked about those of a log: exchanged, without a minus, far away."""
    sites = [(one.lat_deg, one.lon_deg) for one in placed_sites(network).at.values()]
    try:
        _, doubts = judged(np.array([lat_deg]), np.array([lon_deg]), sites=sites, order="ask", source="at")
    except PlanError as asked:
        doubts = asked.problems
    for one in doubts:
        expected = "latitude, then longitude, of where it was heard; or the box ticked"
        yield Problem("at", f"the position: {one.what}", expected, code=one.code,
                      fields=("at",), values=one.values)  # fmt: skip


def _text(form: Mapping[str, str], name: str) -> str:
    """Words as typed."""
    return form.get(name, "").strip()[:_LONGEST]


def _no(name: str, what: str, expected: str, code: str) -> Problem:
    """What is wrong with one field of the form."""
    return Problem(name, what, expected, code=code, fields=(name,))


_Maker = Callable[[Mapping[str, str], Sequence[Present], Network, list[Problem]], dict[str, Any]]
_MAKERS: Mapping[str, _Maker] = {
    TOLD: _told, REPLACED: _replaced, MUTED: _silence, UNMUTED: _silence, LOCK: _lock, COMPLAINT: _complaint,
    RADIATES: _radiates,
}  # fmt: skip
