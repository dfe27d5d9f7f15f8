"""What a site was set to over time, what was measured there, and how far the two were apart: out of the timeline."""

from collections.abc import Sequence
from dataclasses import dataclass

from sfn.chain import MAIN
from sfn.plan import Network
from sfn.report.tables import csv_text
from sfn.timeline.event import Event, in_order


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
    """One report of a site, held against the revision that it was made under. [us]

    `set_off_us` is as set minus planned; `launch_us` the mean launch measured and `off_us` that minus the planned one.
    `told` says that nobody read it there: the office was told.
    """

    at: str
    by: str
    revision: int
    set_off_us: float | None
    launch_us: float | None
    off_us: float | None
    tolerated_us: float
    told: bool = False


@dataclass(frozen=True, slots=True)
class History:
    """One site over time, the oldest first. `replaced` are the times at which its device was replaced."""

    site_id: str
    name: str
    planned: tuple[Planned, ...]
    visits: tuple[Visit, ...]
    replaced: tuple[str, ...] = ()

    @property
    def as_set_us(self) -> tuple[tuple[str, float], ...]:
        """Time and what the fields were found to give together, at each visit that read them. [us]"""
        found = []
        for visit in self.visits:
            then = [one.set_us for one in self.planned if one.revision <= visit.revision]
            if then and visit.set_off_us is not None:
                found.append((visit.at, then[-1] + visit.set_off_us))
        return tuple(found)


def histories(network: Network, events: Sequence[Event]) -> tuple[History, ...]:
    """Every site of the newest revision over time, in the order in which things held.

    Parameters
    ----------
    network : Network
        The newest revision.
    events : sequence of Event
        Of the timeline; those of the main route are taken.
    """
    every = in_order(events)
    return tuple(
        History(
            site.id,
            site.name,
            tuple(_planned(one) for one in every if one.site_id == site.id and _of_main(one)),
            tuple(_visit(one) for one in every if one.site_id == site.id and _is_visit(one)),
            tuple(_at(one) for one in every if one.site_id == site.id and one.kind == "replaced"),
        )
        for site in network.sites
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
            (v.at, ["told" if v.told else "read", v.revision, v.by, None, _four(v.launch_us), None,
                    _four(v.set_off_us), _four(v.off_us), ""])
            for v in one.visits
        ]  # fmt: skip
        events += [(at, ["replaced", *[None] * 7, "the device"]) for at in one.replaced]
        lines += [[one.site_id, at, *cells] for at, cells in sorted(events, key=lambda event: event[0])]
    return csv_text(lines)


def _of_main(event: Event) -> bool:
    """Whether it planned something for the main route."""
    return event.kind == "planned" and event.values["route"] == MAIN


def _is_visit(event: Event) -> bool:
    """Whether it was held against the plan of the main route."""
    held = event.values.get("set_off_us") is not None or event.values.get("launch_us") is not None
    return event.kind in ("read", "told") and bool(event.values.get("main")) and held


def _planned(event: Event) -> Planned:
    """What a revision planned."""
    said = event.values
    return Planned(
        said["revision"], _at(event), event.who, said["reason"], said["set_us"], said["launch_us"], said["offset_us"]
    )


def _visit(event: Event) -> Visit:
    """What was found."""
    said = event.values
    return Visit(
        _at(event), event.who, said["revision"], said["set_off_us"], said["launch_us"], said["off_us"],
        said["tolerated_us"], event.kind == "told",
    )  # fmt: skip


def _at(event: Event) -> str:
    """When it held, to the minute, in UTC."""
    return f"{event.held.at:%Y-%m-%d %H:%M}"


def _four(value: float | None) -> float | None:
    """To the tenth of a nanosecond."""
    return None if value is None else round(value, 4)
