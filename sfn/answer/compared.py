"""Before and after: area and people in each class and of each site, and who gains or loses service."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.answer.zones import Zones
from sfn.reception.quality import CLASSES, JUST_ENOUGH


@dataclass(frozen=True, slots=True)
class Amount:
    """An area and the people in it; people None: not known."""

    area_km2: float
    people: float | None

    def minus(self, other: "Amount") -> "Amount":
        """The change from another amount to this one."""
        people = None if self.people is None or other.people is None else self.people - other.people
        return Amount(self.area_km2 - other.area_km2, people)


@dataclass(frozen=True, slots=True)
class Row:
    """One class or site, as the plan has it and with what is tried."""

    label: str
    planned: Amount
    tried: Amount

    @property
    def change(self) -> Amount:
        """Tried minus planned."""
        return self.tried.minus(self.planned)


@dataclass(frozen=True, slots=True)
class Compared:
    """Rows by class and by site (area where it is the strongest and reception is adequate), gains and losses."""

    classes: tuple[Row, ...]
    sites: tuple[Row, ...]
    gained: Amount
    lost: Amount


def compared(planned: Zones, tried: Zones) -> Compared:
    """Two maps over one grid against each other.

    Parameters
    ----------
    planned, tried : Zones
        Over the same coverage; the same map twice where nothing is tried.
    """
    rows = tuple(Row(name, in_class(planned, n), in_class(tried, n)) for n, name in enumerate(CLASSES))
    names = {site.id: site.name for site in planned.network.sites}
    sites = tuple(Row(names[i], of_site(planned, i), of_site(tried, i)) for i in planned.coverage.sites)
    before, after = served(planned), served(tried)
    return Compared(rows, sites, amount(tried, after & ~before), amount(tried, before & ~after))


def served(found: Zones) -> NDArray[np.bool_]:
    """Where reception is adequate, shape (M,)."""
    return np.asarray(found.quality.quality_class <= JUST_ENOUGH)


def amount(found: Zones, where: NDArray[np.bool_]) -> Amount:
    """Area and people of some pixels."""
    people = None if found.people is None else float(found.people[where].sum())
    return Amount(float(found.coverage.area_km2()[where].sum()), people)


def in_class(found: Zones, number: int) -> Amount:
    """What lies in one class."""
    return amount(found, np.asarray(found.quality.quality_class == number))


def of_site(found: Zones, site: str) -> Amount:
    """What one site serves: it is the strongest, and reception is adequate."""
    if site not in found.sites:
        return Amount(0.0, None if found.people is None else 0.0)
    return amount(found, served(found) & np.asarray(found.found.strongest == found.sites.index(site)))
