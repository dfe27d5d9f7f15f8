"""Whom to mute while settings disagree: the people and the area that muting wins, against those that it loses.

A delay difference alone does not say it: the same microseconds hurt few people or many, and whoever hears nobody but
the muted site hears nothing then. Muting is advised only where it wins at least twice what it loses, and in all at
least a hundredth of what is served (our judgement: a switched transmitter costs more than a hair), in people where they
are known and in area besides.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sfn.plan import Network
from sfn.reception.classes import is_served
from sfn.reception.coverage import Coverage
from sfn.study.muting import fed_by
from sfn.study.served import counted_km2, counted_people, quality_of

Doubles = NDArray[np.float64]
WON_TO_LOST_RATIO = 2.0
LEAST_GAIN_RATIO = 0.01


@dataclass(frozen=True, slots=True)
class Muted:
    """A site muted, with those that receive it.

    Parameters
    ----------
    unit : {'people', 'km2'}
        Of `before` and `value`: served without and with the muting.
    won_km2, lost_km2 : float
        Area served only with the muting, and only without it. [km2]
    won_people, lost_people : float or None
        The same in people; None where nobody counted them.
    """

    site_name: str
    with_it: tuple[str, ...]
    unit: str
    before: float
    value: float
    won_km2: float
    lost_km2: float
    won_people: float | None
    lost_people: float | None

    @property
    def gain(self) -> float:
        """What is won in all, in its unit."""
        return self.value - self.before

    @property
    def won(self) -> float:
        """What is won, in its unit."""
        return self.won_km2 if self.won_people is None else self.won_people

    @property
    def worth_it(self) -> bool:
        """Whether it is advised."""
        won, lost = self.won_km2, self.lost_km2
        if self.won_people is not None and self.lost_people is not None:
            if self.won_km2 < self.lost_km2:
                return False
            won, lost = self.won_people, self.lost_people
        return won > 0 and won >= WON_TO_LOST_RATIO * lost and self.gain >= LEAST_GAIN_RATIO * self.before


def muting_tried(
    network: Network,
    coverage: Coverage,
    launches: dict[str, float],
    suspects: Sequence[str],
    *,
    people: Doubles | None = None,
) -> tuple[Muted, ...]:
    """What muting each suspect wins and loses, the greatest gain first.

    Parameters
    ----------
    network : Network
    coverage : Coverage
        Levels that were computed before; all its pixels count, as on the map.
    launches : dict of site id to launch time
        At the moment that is judged. [us]
    suspects : sequence of str
        Ids of the sites that are tried.
    people : ndarray, shape (M,), optional
        Inhabitants of each pixel.
    """
    names = {site.id: site.name for site in network.sites}
    area_km2, heard = counted_km2(coverage), counted_people(coverage, people)
    weights = area_km2 if heard is None else heard
    before = _served(network, coverage, launches, off=frozenset())
    tried = []
    for suspect in suspects:
        group = frozenset({suspect, *fed_by(network, suspect)})
        after = _served(network, coverage, launches, off=group)
        won, lost = after & ~before, before & ~after
        counted: dict[str, Any] = {"won_people": None, "lost_people": None}
        if heard is not None:
            counted = {"won_people": float(heard[won].sum()), "lost_people": float(heard[lost].sum())}
        tried.append(
            Muted(
                names[suspect],
                tuple(sorted(names[name] for name in group - {suspect})),
                "km2" if heard is None else "people",
                float(weights[before].sum()),
                float(weights[after].sum()),
                float(area_km2[won].sum()),
                float(area_km2[lost].sum()),
                **counted,
            )
        )
    return tuple(sorted(tried, key=lambda one: (-one.gain, one.site_name)))


def _served(
    network: Network, coverage: Coverage, launches: dict[str, float], *, off: frozenset[str]
) -> NDArray[np.bool_]:
    """Where service is adequate with some sites muted, shape (M,)."""
    if all(coverage.sites[i] in off for i in coverage.on_air(network)):
        return np.zeros(coverage.level_dbuvm.shape[1], dtype=bool)
    return is_served(quality_of(network, coverage, launches, off=off).quality_class)
