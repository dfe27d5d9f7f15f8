"""Which failure leaves which sites in step: a small table, worst first.

A site is fed by its routes in their order; each needs some things to work (a studio, a network, the site itself, a
reference clock). A failure takes its thing away; the first route that still has all it needs carries the site.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from sfn.errors import in_range

State = Literal["in step", "in step for a time", "out of step", "other programme", "off air"]
# From harmless to harmful: a site out of step upsets its neighbours' listeners too, one not transmitting only its own.
STATES: tuple[State, ...] = ("in step", "in step for a time", "off air", "other programme", "out of step")
STATE_WORDS: dict[State, str] = {
    "in step": "within tolerance",
    "in step for a time": "within tolerance for a time",
    "off air": "not transmitting",
    "other programme": "other programme",
    "out of step": "out of tolerance",
}
"""The states for people; documents and scripts keep their names."""


@dataclass(frozen=True, slots=True)
class Route:
    """One way to feed a site.

    Parameters
    ----------
    site, name : str
        Which site, and main, standby or local.
    needs : frozenset of str
        Things that must work.
    launch_error_us : float
        Launch time on this route minus the planned one, with the settings in force. [us]
    same_programme : bool
        False for a local fallback.
    clock : str or None
        The reference that keeps its time; its failure does not end the route but begins holdover.
    holdover_h : float or None
        Hours that the site stays within tolerance without that reference; None for never out. [h]
    """

    site: str
    name: str
    needs: frozenset[str]
    launch_error_us: float = 0.0
    same_programme: bool = True
    clock: str | None = None
    holdover_h: float | None = 0.0


@dataclass(frozen=True, slots=True)
class Outcome:
    """A site after a failure."""

    site: str
    route: str | None
    state: State
    launch_error_us: float
    for_h: float | None

    @property
    def state_words(self) -> str:
        """Its state for people."""
        return STATE_WORDS[self.state]


@dataclass(frozen=True)
class Effect:
    """A failure and every site after it."""

    failure: str
    outcomes: tuple[Outcome, ...]

    @cached_property
    def counts(self) -> dict[State, int]:
        """Sites in each state, the worst first; only of states in which there are some."""
        found = Counter(o.state for o in self.outcomes)
        return {state: found[state] for state in reversed(STATES) if found[state]}

    @property
    def harm(self) -> tuple[int, ...]:
        """Sort key: most out of step first, then other programme, off air, in step for a time."""
        found = self.counts
        return tuple(-found.get(state, 0) for state in tuple(reversed(STATES))[:-1])

    @property
    def in_words(self) -> str:
        """The row as a manager reads it."""
        return ", ".join(f"{n} {STATE_WORDS[state]}" for state, n in self.counts.items())


def effects(
    routes: Sequence[Route], *, tolerance_us: float, failures: Iterable[str] | None = None
) -> tuple[Effect, ...]:
    """What each single failure does to every site, worst first.

    Parameters
    ----------
    routes : sequence of Route
        Of all sites; those of one site in the order in which they are used.
    tolerance_us : float
        How far a site may be off and still be in step. [us]
    failures : iterable of str, optional
        Things that may fail; everything that any route needs or keeps time by when not given.

    Returns
    -------
    effects : tuple of Effect
        Most sites out of step first, then other programme, off air, in step for a time.

    Raises
    ------
    ValueError
        If there is no route or the tolerance is not above 0.
    """
    if not routes:
        raise ValueError("routes must hold at least one route")
    in_range("tolerance_us", tolerance_us, least=1e-3, greatest=1e6, unit="us")
    clocks = {r.clock for r in routes if r.clock is not None}
    named = sorted({need for r in routes for need in r.needs} | clocks) if failures is None else list(failures)
    sites = list(dict.fromkeys(r.site for r in routes))
    ways = [[r for r in routes if r.site == s] for s in sites]
    # Most failures touch one site of many: the others stand as if nothing had failed.
    usual = [_outcome(way, None, tolerance_us) for way in ways]
    touched: dict[str, list[int]] = {}
    for i, way in enumerate(ways):
        for name in {need for r in way for need in r.needs} | {r.clock for r in way if r.clock is not None}:
            touched.setdefault(name, []).append(i)
    found = []
    for failure in named:
        outcomes = list(usual)
        for i in touched.get(failure, ()):
            outcomes[i] = _outcome(ways[i], failure, tolerance_us)
        found.append(Effect(failure, tuple(outcomes)))
    return tuple(sorted(found, key=lambda e: e.harm))


def _outcome(routes: Sequence[Route], failure: str | None, tolerance_us: float) -> Outcome:
    """One site after one failure, or None."""
    site = routes[0].site
    for route in routes:
        if failure in route.needs:
            continue
        off_us = route.launch_error_us
        if not route.same_programme:
            return Outcome(site, route.name, "other programme", off_us, None)
        if abs(off_us) > tolerance_us:
            return Outcome(site, route.name, "out of step", off_us, None)
        if failure is not None and route.clock == failure and route.holdover_h is not None:
            state: State = "in step for a time" if route.holdover_h > 0 else "out of step"
            return Outcome(site, route.name, state, off_us, route.holdover_h)
        return Outcome(site, route.name, "in step", off_us, None)
    return Outcome(site, None, "off air", 0.0, None)
