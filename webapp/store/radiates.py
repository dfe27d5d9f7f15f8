"""What a revision plans to be radiated otherwise than each site is known to radiate: sheets order delays alone."""

from collections.abc import Iterable, Mapping
from typing import Any

from sfn.errors import PlanError, Problem, Touch
from sfn.plan import Site
from sfn.study.radiated_apart import radiated_problems
from webapp.store.entries import ISSUE
from webapp.store.store import Saved, Store

_RADIATED = ("on_air", "erp_kw", "antenna", "antenna_m")


def radiated_otherwise(store: Store, saved: Saved, said: Mapping[str, int]) -> tuple[Problem, ...]:
    """A warning for each site that a revision plans to radiate otherwise than it is known to.

    A site is known to radiate as somebody last said; else as in the first revision; where it came later, as in the
    revision of which its first sheet was issued, and of one that never had a sheet nothing is known. A new issue of
    sheets ends no warning.

    Parameters
    ----------
    store : Store
    saved : Saved
        The revision.
    said : mapping of str to int
        The revision as which somebody last said that a site radiates, by site.
    """
    network_id, number = saved.revision.network_id, saved.revision.number
    ids = [str(site["id"]) for site in saved.document["sites"]]
    first = [one for one in ids if one not in said] if number > 1 else []
    came_later: Mapping[str, int] = {}
    start = _read(store, network_id, 1) if first else None
    if start is not None:
        there = {site["id"] for site in start.document["sites"]}
        issues = store.entries.of(network_id, kind=ISSUE)
        came_later = {one.site_id: one.revision for one in reversed(issues) if one.site_id not in there}
        first = [one for one in first if one in there or one in came_later]
    base_of = {one: came_later.get(one, 1) for one in first} | {one: said[one] for one in ids if one in said}
    was: dict[str, tuple[Site, str]] = {}
    unknown = []
    for base in sorted(set(base_of.values()) - {number}):
        theirs, since = [one for one in ids if base_of.get(one) == base], f"revision {base}"
        try:
            then = start if base == 1 and start is not None else _read(store, network_id, base)
            was |= {one.id: (one, since) for one in _otherwise(then, saved, theirs)}
        except PlanError:
            unknown.append(_unknown(since, theirs))
    return (*radiated_problems(saved.network, was), *unknown)


def _read(store: Store, network_id: int, number: int) -> Saved | None:
    """A revision; None where it is damaged."""
    try:
        return store.read(network_id, number, even_deleted=True)
    except PlanError:
        return None


def _otherwise(base: Saved | None, saved: Saved, ids: Iterable[str]) -> Iterable[Site]:
    """These sites as a revision has them, unless all are typed alike in both.

    Raises
    ------
    PlanError
        If the base cannot be read.
    """
    if base is None:
        raise PlanError([])
    wanted = set(ids)
    if _typed(base, wanted) == _typed(saved, wanted):
        return ()
    return [site for site in base.network.sites if site.id in wanted]


def _typed(saved: Saved, ids: set[str]) -> dict[str, tuple[Any, ...]]:
    """What is typed of power, antenna and whether it is on air."""
    sites = saved.document["sites"]
    return {site["id"]: tuple(site.get(key) for key in _RADIATED) for site in sites if site["id"] in ids}


def _unknown(since: str, ids: list[str]) -> Problem:
    """That nobody can tell."""
    what = f"{since} cannot be read: whether power, antennas or sites on air are planned otherwise since is not known"
    expected = f"{since} restored from a backup, or, on each site's timeline, that it radiates as planned"
    touches = tuple(Touch(one) for one in ids)
    return Problem(
        "sites", what, expected, "warning", code="radiated-unknown", touches=touches, values={"since": since}
    )
