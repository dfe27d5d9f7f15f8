"""Before and after: area and people in each class and of each site, and who gains or loses service."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.reception.classes import CLASSES, class_words, is_served, shown_classes
from sfn.report.numbers import number
from sfn.study.served import counted_km2
from sfn.study.zones import Zones


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
class SiteRow:
    """Where one site is the strongest: a row for each class of the service, the best first."""

    label: str
    classes: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Compared:
    """Rows by class and by site (area where it is the strongest and reception is adequate), gains and losses.

    `strongest` splits each class among the sites that are the strongest there, whether usable or not.
    """

    classes: tuple[Row, ...]
    sites: tuple[Row, ...]
    gained: Amount
    lost: Amount
    strongest: tuple[SiteRow, ...]


def in_short(found: Compared) -> str:
    """What the try changes, in a sentence."""
    parts = []
    for word, one in (("gained", found.gained), ("lost", found.lost)):
        who = "" if one.people is None else f" ({number(one.people, 0)} people)"
        parts.append(f"{word} on {number(one.area_km2, 1)} km²{who}")
    return f"Against the plan, adequate reception is {' and '.join(parts)}."


def served_says(found: Zones) -> str:
    """Area and people with adequate reception, in words; no people where they are not known."""
    one = amount(found, served(found))
    who = "" if one.people is None else f", {number(one.people, 0)} people"
    return f"{number(one.area_km2, 0)} km² served{who}"


def compared(planned: Zones, tried: Zones) -> Compared:
    """Two maps over one grid against each other.

    Parameters
    ----------
    planned, tried : Zones
        Over the same coverage; the same map twice where nothing is tried.
    """
    words, shown = class_words(planned.carried), shown_classes(planned.carried)
    rows = tuple(Row(words[n], in_class(planned, n), in_class(tried, n)) for n in shown)
    names = {site.id: site.name for site in planned.network.sites}
    sites = tuple(Row(names[i], of_site(planned, i), of_site(tried, i)) for i in planned.coverage.sites)
    before, after = served(planned), served(tried)
    a, b = by_site_and_class(planned), by_site_and_class(tried) if tried is not planned else None
    strongest = tuple(
        SiteRow(names[site], tuple(Row(words[n], a[site][n], (b or a)[site][n]) for n in shown))
        for site in planned.coverage.sites
    )
    gained, lost = amount(tried, after & ~before), amount(tried, before & ~after)
    return Compared(rows, sites, gained, lost, strongest)


def by_site_and_class(found: Zones) -> dict[str, tuple[Amount, ...]]:
    """By site: what lies in each class where it is the strongest; nothing for one that is not transmitting."""
    every, count = found.coverage.sites, len(CLASSES)
    known = np.isfinite(found.quality.quality_class)
    strongest = found.found.strongest.copy()
    open_yet = known & np.isnan(strongest)  # too weak to be usable, yet strongest
    if open_yet.any():
        on_air = [every.index(name) for name in found.sites]
        level = found.coverage.level_dbuvm[:, open_yet][on_air]
        strongest[open_yet] = np.argmax(np.where(np.isnan(level), -np.inf, level), axis=0)
    place = strongest[known].astype(np.intp) * count + found.quality.quality_class[known].astype(np.intp)
    size = len(found.sites) * count

    def summed(weights: NDArray[np.float64]) -> NDArray[np.float64]:
        """A row a site, a column a class."""
        return np.asarray(np.bincount(place, weights=weights[known], minlength=size).reshape(-1, count))

    area_km2 = summed(counted_km2(found.coverage))
    people = None if found.people is None else summed(found.people)
    nothing = (Amount(0.0, None if people is None else 0.0),) * count
    held = {
        name: tuple(
            Amount(float(area_km2[i, k]), None if people is None else float(people[i, k])) for k in range(count)
        )
        for i, name in enumerate(found.sites)
    }
    return {name: held.get(name, nothing) for name in every}


def served(found: Zones) -> NDArray[np.bool_]:
    """Where reception is adequate, shape (M,)."""
    return is_served(found.quality.quality_class)


def amount(found: Zones, where: NDArray[np.bool_]) -> Amount:
    """Area and people of some pixels."""
    people = None if found.people is None else float(found.people[where].sum())
    return Amount(float(counted_km2(found.coverage)[where].sum()), people)


def in_class(found: Zones, number: int) -> Amount:
    """What lies in one class."""
    return amount(found, np.asarray(found.quality.quality_class == number))


def of_site(found: Zones, site: str) -> Amount:
    """What one site serves: it is the strongest, and reception is adequate."""
    if site not in found.sites:
        return Amount(0.0, None if found.people is None else 0.0)
    return amount(found, served(found) & np.asarray(found.found.strongest == found.sites.index(site)))
