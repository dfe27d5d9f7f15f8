"""What would let every site have its wish: a common delay, or else offsets, that whole steps can meet.

Looked for where a setting is far off: from the present common delay the search leaps, site by site, to the next delay
that the site can make, until one serves all. A site fed off air moves with its parent, so that no common delay helps
it: it is offered another offset.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from sfn.plan import Site
from sfn.timing.device import Device, device
from sfn.timing.setting import settings_for
from sfn.timing.totals import TooManyError
from sfn.units import exact

# Devices whose gaps never meet would leap for ever; those that do meet within a few coarse steps each.
MOST_LEAPS_N = 2_000
_ROUND_US = tuple(Fraction(1, n) for n in (1, 10, 100, 1_000, 10_000))
_MAIN = "main"


@dataclass(frozen=True, slots=True)
class Reachable:
    """A common delay, to be entered as a fixed one, and the offsets that differ from the plan's. [us]"""

    common_delay_us: float
    offsets: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Wishes:
    """One site as the search sees it: latency of its own stages by route, its feed, and how near it must come.

    `left` is what its settings leave at present, on the worst of its routes. [us]
    """

    site: Site
    own: Mapping[str, Fraction]
    parent: str | None
    path_us: Fraction
    within: Fraction
    left: Fraction


@dataclass(frozen=True, slots=True)
class _Wish:
    """One route: ``added = x + base`` must come within `within` of a total that its device reaches."""

    made: Device
    base: Fraction
    within: Fraction

    def next(self, x: Fraction, *, later: bool) -> Fraction | None:
        """The nearest `x` from here on, later or earlier, that the device can make; None where there is none."""
        added = x + self.base
        if later:
            total = self.made.above(added - self.within)
            return None if total is None else x + max(Fraction(0), total - self.within - added)
        total = self.made.below(added + self.within)
        return None if total is None else x + min(Fraction(0), total + self.within - added)


def reachable(sites: Sequence[Wishes], *, common: Fraction, least_common: Fraction) -> Reachable | None:
    """A common delay, or else offsets, with which every site on air comes near enough to its wish.

    Parameters
    ----------
    sites : sequence of Wishes
        All sites on air that can be worked out, parents before those they feed.
    common : Fraction
        The present common delay. [us]
    least_common : Fraction
        The least that may be chosen. [us]

    Returns
    -------
    found : Reachable or None
        The nearest common delay with the present offsets, where there is one; else the present one with other
        offsets, each moved by no more than whole steps leave today. None where neither helps, an offset that would
        have to move is held, or the search took more than `MOST_LEAPS_N` leaps.
    """
    studio = [one for one in sites if one.parent is None]
    wishes = [
        _Wish(device(one.site.delay_fields), exact(one.site.offset_us) - latency, one.within)
        for one in studio
        for latency in one.own.values()
    ]
    try:
        chosen = _nearest(common, wishes, least=least_common, greatest=None)
        return _with_offsets(sites, common if chosen is None else chosen)
    except TooManyError:
        return None


def _with_offsets(sites: Sequence[Wishes], common: Fraction) -> Reachable | None:
    """The offsets that a common delay needs; None where a site cannot have one."""
    offsets: dict[str, float] = {}
    launches: dict[str, Fraction] = {}
    for one in sites:
        feed = Fraction(0)
        if one.parent is not None:
            if one.parent not in launches:
                continue  # its parent does not transmit
            feed = launches[one.parent] + one.path_us
        present = exact(one.site.offset_us)
        made = device(one.site.delay_fields)
        wishes = [_Wish(made, common - feed - latency, one.within) for latency in one.own.values()]
        chosen: Fraction | None = present
        if not _all_meet(present, wishes):
            chosen = _other_offset(one, wishes, present)
        if chosen is None:
            return None
        if chosen != present:
            offsets[one.site.id] = float(chosen)
        _, total = settings_for(common + chosen - feed - one.own[_MAIN], one.site.delay_fields)
        launches[one.site.id] = feed + one.own[_MAIN] + total
    return Reachable(float(common), offsets)


def _other_offset(one: Wishes, wishes: Sequence[_Wish], present: Fraction) -> Fraction | None:
    """The nearest offset that every route of a site can make, moved by no more than is left today."""
    beyond = any(not w.made.least <= present + w.base <= w.made.greatest for w in wishes)
    if one.site.offset_held or (beyond and one.parent is None):
        return None  # too short a field is no matter of offsets, where a common delay moves every site alike
    low, high = present - one.left, present + one.left
    if one.site.least_offset_us is not None:
        low = max(low, exact(one.site.least_offset_us))
    if one.site.greatest_offset_us is not None:
        high = min(high, exact(one.site.greatest_offset_us))
    return _nearest(present, wishes, least=low, greatest=high)


def _all_meet(x: Fraction, wishes: Sequence[_Wish]) -> bool:
    """Whether every wish is met."""
    return all(wish.next(x, later=True) == x for wish in wishes)


def _nearest(
    start: Fraction, wishes: Sequence[_Wish], *, least: Fraction, greatest: Fraction | None
) -> Fraction | None:
    """The place nearest to `start` at which every wish is met, as round a number as serves; later before earlier."""
    found = []
    for later in (True, False):
        begin = max(start, least) if later else start if greatest is None else min(start, greatest)
        reached = _leap(begin, wishes, later=later, least=least, greatest=greatest)
        if reached is not None:
            round_one = next(
                (x for x in _rounded(reached, later=later)
                 if least <= x and (greatest is None or x <= greatest) and _all_meet(x, wishes)),
                None,
            )  # fmt: skip
            if round_one is not None:
                found.append(round_one)
    return min(found, key=lambda x: (abs(x - start), -x), default=None)


def _leap(
    x: Fraction, wishes: Sequence[_Wish], *, later: bool, least: Fraction, greatest: Fraction | None
) -> Fraction | None:
    """The first place from `x` on that meets every wish: each that is not met leaps to the next that it can."""
    met, leaps = 0, 0
    while met < len(wishes):
        for wish in wishes:
            reached = wish.next(x, later=later)
            leaps += 1
            if reached is None or leaps > MOST_LEAPS_N + len(wishes):
                return None
            met = met + 1 if reached == x else 1
            x = reached
            if (x < least and not later) or (greatest is not None and x > greatest and later):
                return None
            if met >= len(wishes):
                break
    return x


def _rounded(x: Fraction, *, later: bool) -> Iterator[Fraction]:
    """Round numbers from a place on, the roundest first; last itself, as a document can hold it."""
    for step in _ROUND_US:
        yield (math.ceil(x / step) if later else math.floor(x / step)) * step
    for value in (float(x), math.nextafter(float(x), math.inf if later else -math.inf)):
        yield exact(value)
