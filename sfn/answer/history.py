"""What a site was set to over time, what was measured there, and how far the two were apart."""

from collections.abc import Sequence
from dataclasses import dataclass

from sfn.chain import MAIN
from sfn.plan import Network
from sfn.report.tables import csv_text
from sfn.timing import delay_table


@dataclass(frozen=True, slots=True)
class Planned:
    """A site's settings in one revision: since when, by whom and why, what its fields give, when it launches. [us]"""

    revision: int
    at: str
    author: str
    reason: str
    set_us: float
    launch_us: float
    offset_us: float


@dataclass(frozen=True, slots=True)
class Visit:
    """One reading at a site, held against the revision that it was made under. [us]

    `set_off_us` is as set minus planned; `launch_us` the mean launch measured and `off_us` that minus the planned one.
    """

    at: str
    by: str
    revision: int
    set_off_us: float | None
    launch_us: float | None
    off_us: float | None
    tolerated_us: float


@dataclass(frozen=True, slots=True)
class History:
    """One site over time, the oldest first."""

    site_id: str
    name: str
    planned: tuple[Planned, ...]
    visits: tuple[Visit, ...]

    @property
    def as_set_us(self) -> tuple[tuple[str, float], ...]:
        """Time and what the fields were found to give together, at each visit that read them. [us]"""
        found = []
        for visit in self.visits:
            then = [one.set_us for one in self.planned if one.revision <= visit.revision]
            if then and visit.set_off_us is not None:
                found.append((visit.at, then[-1] + visit.set_off_us))
        return tuple(found)


@dataclass(frozen=True, slots=True)
class Saved:
    """One revision: number, time as 2026-09-14 08:30, author, reason and document."""

    number: int
    at: str
    author: str
    reason: str
    network: Network


def histories(saves: Sequence[Saved], visits: Sequence[tuple[str, Visit]]) -> tuple[History, ...]:
    """Every site of the newest revision over time.

    Parameters
    ----------
    saves : sequence of Saved
        The oldest first, at least one.
    visits : sequence of (site id, Visit)
        The oldest first.
    """
    planned: dict[str, list[Planned]] = {site.id: [] for site in saves[-1].network.sites}
    for save in saves:
        table = delay_table(save.network)
        missing = {one.site_id for one in table.missing}
        for site in save.network.sites:
            if site.id not in planned or site.id in missing:
                continue  # a revision in which it could not be worked out set nothing
            row = table.row(site.id, MAIN)
            line = Planned(save.number, save.at, save.author, save.reason, row.set_us, row.launch_us, site.offset_us)
            last = planned[site.id][-1] if planned[site.id] else None
            # A revision that leaves the site as it was is no event of the site.
            if last is None or (last.set_us, last.launch_us, last.offset_us) != (
                line.set_us, line.launch_us, line.offset_us
            ):  # fmt: skip
                planned[site.id].append(line)
    return tuple(
        History(site.id, site.name, tuple(planned[site.id]), tuple(v for name, v in visits if name == site.id))
        for site in saves[-1].network.sites
    )


def history_csv(found: Sequence[History]) -> str:
    """Every event of the sites, a line each."""
    lines: list[list[str | float | None]] = [
        ["site", "at_utc", "what", "revision", "by", "set_us", "launch_us", "offset_us", "set_minus_planned_us",
         "launch_minus_planned_us", "reason"]
    ]  # fmt: skip
    for one in found:
        events: list[tuple[str, list[str | float | None]]] = [
            (p.at, ["planned", p.revision, p.author, _four(p.set_us), _four(p.launch_us), _four(p.offset_us), None,
                    None, p.reason])
            for p in one.planned
        ]  # fmt: skip
        events += [
            (v.at, ["read", v.revision, v.by, None, _four(v.launch_us), None, _four(v.set_off_us), _four(v.off_us), ""])
            for v in one.visits
        ]
        lines += [[one.site_id, at, *cells] for at, cells in sorted(events, key=lambda event: event[0])]
    return csv_text(lines)


def _four(value: float | None) -> float | None:
    """To the tenth of a nanosecond."""
    return None if value is None else round(value, 4)
