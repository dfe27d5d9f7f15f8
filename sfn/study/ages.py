"""How old and how sure every site's number is, and what a change of firmware or mode makes uncertain.

A stage must be measured again when its firmware or mode changed after the day of its figure. A launch that was measured
at a site before such a change says nothing of what is on air now either.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from sfn.chain import (
    MAIN,
    RouteLatency,
    all_routes,
    feed_stages,
    outdated,
    rests_on_assumption,
    spread,
    stage_latency,
)
from sfn.plan import Network, Site, Stage
from sfn.timeline.event import Event, in_order
from sfn.timing.failover import fed_through


@dataclass(frozen=True, slots=True)
class StageAge:
    """One stage's figure.

    Parameters
    ----------
    stage : Stage
    latency_us : float
    sites : tuple of str
        Names of the sites whose chains it is in.
    age_days : int or None
        Since its date; None without one.
    again : str
        Why it must be measured again; empty where not.
    """

    stage: Stage
    latency_us: float
    sites: tuple[str, ...]
    age_days: int | None
    again: str


@dataclass(frozen=True, slots=True)
class LaunchSeen:
    """A launch that was measured at a site: the day, and how far it was from the plan then. [us]

    `moved` is what was turned or replaced since, there or at a site that feeds it; empty where nothing was.
    """

    day: str
    off_us: float
    moved: str = ""


def launches_seen(events: Sequence[Event], *, parents: Mapping[str, str | None]) -> dict[str, LaunchSeen]:
    """The newest launch that was measured at each site on its main route, by what held.

    Parameters
    ----------
    events : sequence of Event
        Of the timeline.
    parents : mapping of str to str or None
        What feeds each site off air: what is turned or replaced at a parent moves the launches of all that it feeds.
    """
    found = Seen(parents)
    for one in in_order(events):
        found.take(one)
    return found.launches


class Seen:
    """The same, taken further as things happen; each event held no sooner than any before."""

    def __init__(self, parents: Mapping[str, str | None]) -> None:
        self.parents = dict(parents)
        self.launches: dict[str, LaunchSeen] = {}
        self._stood: dict[tuple[str, str], Any] = {}

    def take(self, one: Event) -> None:
        """One more event."""
        if one.kind not in ("read", "told", "replaced"):
            return
        seen, stood = self.launches, self._stood
        day, fields = f"{one.held.at:%Y-%m-%d}", one.values.get("fields") or {}
        moved = [
            name for name, said in fields.items() if stood.get((one.site_id, name), said["value"]) != said["value"]
        ]
        stood |= {(one.site_id, name): said["value"] for name, said in fields.items()}
        what = (
            "the device was replaced" if one.kind == "replaced" else f"{', '.join(moved)} was turned" if moved else ""
        )
        if what:
            for site in (site for site in seen if one.site_id in fed_through(site, self.parents)):
                where = "" if site == one.site_id else f" at {one.site_id}, which feeds it"
                told = f"{what}{where}, on {day}"
                seen[site] = replace(seen[site], moved="; ".join(filter(None, (seen[site].moved, told))))
        off_us = one.values.get("off_us")
        if one.kind == "read" and one.values.get("main") and off_us is not None:
            seen[one.site_id] = LaunchSeen(day, off_us)


@dataclass(frozen=True, slots=True)
class SiteAge:
    """One site's number on its main route.

    Parameters
    ----------
    site_id, name : str
    latency_us : float
        Sum of its own stages. [us]
    tolerance_us, rss_us, assumed_us : float
        How far its launch may be off: worst case, root of squares, and the part of the worst case that rests on
        assumed figures. For a site fed off air with all that its parent's launch rests on: the figures of the delay
        table. [us]
    parent : str
        Name of the site that it receives; empty where it is fed from the studio.
    oldest : StageAge or None
        The stage with the oldest dated figure.
    undated_us, assumed_latency_us : float
        Parts of the latency whose figures bear no date, and that are only assumed. [us]
    unstated : tuple of str
        Stages that state no tolerance, its parents' too: they count as exact.
    again : tuple of str
        Stages that must be measured again.
    seen : LaunchSeen or None
        The newest launch that was measured there.
    launch_again : str
        Why the launch must be measured again; empty where not.
    """

    site_id: str
    name: str
    latency_us: float
    tolerance_us: float
    rss_us: float
    assumed_us: float
    parent: str
    oldest: StageAge | None
    undated_us: float
    assumed_latency_us: float
    unstated: tuple[str, ...]
    again: tuple[str, ...]
    seen: LaunchSeen | None
    launch_again: str

    @property
    def rank(self) -> tuple[float, ...]:
        """The worst first: to be measured again, assumed, unstated, by the latency that it is about, then by age."""
        oldest = self.oldest.age_days if self.oldest and self.oldest.age_days is not None else 0
        again = len(self.again) + bool(self.launch_again)
        return (-again, -self.assumed_latency_us, -len(self.unstated), -self.undated_us, -oldest)


@dataclass(frozen=True, slots=True)
class Ages:
    """Every site and every stage, the worst first."""

    network: Network
    today: str
    sites: tuple[SiteAge, ...]
    stages: tuple[StageAge, ...]


def ages(network: Network, *, today: str, seen: Mapping[str, LaunchSeen] | None = None) -> Ages:
    """How old and how sure the numbers of a network are.

    Parameters
    ----------
    network : Network
    today : str
        As 2026-09-14.
    seen : mapping of site id to LaunchSeen, optional
        The newest launch that was measured at each site.
    """
    routes, by_id = all_routes(network), {stage.id: stage for stage in network.stages}
    passed, names = feed_stages(network, routes), {site.id: site.name for site in network.sites}
    latencies: dict[str, float] = {}
    users: dict[str, dict[str, None]] = {}
    for (site_id, _), route in routes.items():
        for stage, latency in zip(route.stages, route.device_us, strict=True):
            latencies[stage.id] = float(latency)
            users.setdefault(stage.id, {})[site_id] = None
            # What a time-stamped section must cover adds nothing, yet the section runs dry when it grows.
            for inner in (by_id[i] for i in stage.inside):
                latencies[inner.id] = float(stage_latency(inner, refractivity_n=network.refractivity_n))
                users.setdefault(inner.id, {})[site_id] = None
    stages = {
        stage.id: StageAge(
            stage, latencies[stage.id], tuple(names[user] for user in users[stage.id]), _days(stage.date, today),
            _again(stage),
        )
        for stage in network.stages
        if stage.id in latencies
    }  # fmt: skip
    sites = tuple(
        _site(
            site, names.get(site.fed_off_air_from or "", ""), routes[site.id, MAIN], passed[site.id, MAIN], stages,
            tuple(stage for stage, by in users.items() if site.id in by and stages[stage].again),
            (seen or {}).get(site.id),
        )
        for site in network.sites
        if (site.id, MAIN) in routes
    )  # fmt: skip
    order = sorted(stages.values(), key=lambda one: (not one.again, -(one.age_days or -1)))
    return Ages(network, today, tuple(sorted(sites, key=lambda one: one.rank)), tuple(order))


def _site(
    site: Site, parent: str, route: RouteLatency, passed: tuple[Stage, ...], stages: Mapping[str, StageAge],
    again: tuple[str, ...], seen: LaunchSeen | None,
) -> SiteAge:  # fmt: skip
    """One site; `passed` are all stages that its launch rests on, `again` those of it to be measured again."""
    own, off = [stages[stage.id] for stage in route.counted], spread(passed)
    dated = [one for one in own if one.age_days is not None]
    newer = [stage for stage in passed if seen is not None and stage.changed and stage.changed >= seen.day]
    launch_again = ""
    if newer and seen is not None:
        when = "on the day that" if all(s.changed == seen.day for s in newer) else "after"
        launch_again = f"{', '.join(s.id for s in newer)} changed {when} the launch was measured, {seen.day}"
    if seen is not None and seen.moved:
        told = f"{seen.moved}; the launch was measured on {seen.day}"
        launch_again = "; ".join(filter(None, (told, launch_again)))
    return SiteAge(
        site.id,
        site.name,
        float(route.exact_us),
        off.worst_us,
        off.rss_us,
        off.assumed_us,
        parent,
        max(dated, key=lambda one: one.age_days or 0) if dated else None,
        sum(one.latency_us for one in own if one.age_days is None),
        sum(one.latency_us for one in own if rests_on_assumption(one.stage)),
        tuple(stage.id for stage in passed if stage.tolerance_us is None),
        again,
        seen,
        launch_again,
    )


def _again(stage: Stage) -> str:
    """Why a stage must be measured again."""
    if not outdated(stage):
        return ""
    what = f"{stage.firmware} since {stage.changed}" if stage.firmware else f"changed on {stage.changed}"
    return f"{what}; the figure is {'from ' + stage.date if stage.date else 'without a date'}"


def _days(day: str | None, today: str) -> int | None:
    """Days since; None without a day, or for one that the calendar does not have."""
    if day is None:
        return None
    try:
        return (date.fromisoformat(today) - date.fromisoformat(day)).days
    except ValueError:
        return None
