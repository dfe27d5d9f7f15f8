"""The answer of ``road``: what a receiver gets along a line, where it is worst, and which site is to blame."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sfn.field.over_smooth import smooth_says
from sfn.field.over_treetops import line_says
from sfn.geodesy.line import inverse
from sfn.plan import Network
from sfn.plan.record import SiteName
from sfn.reception.aimed import behind_antenna, masts_of
from sfn.reception.along import LineSignals
from sfn.reception.area import SERVED
from sfn.reception.class_says import ClassSays, class_says
from sfn.reception.classes import (
    CLASSES,
    OTHER_STATION,
    TOO_WEAK,
    UPSET,
    class_words,
    is_lost,
    is_served,
    shown_classes,
)
from sfn.reception.drawn_quality import drawn_share
from sfn.reception.figures import figures
from sfn.reception.heard import listener_sharing, under_others
from sfn.reception.others import Needed, needed_along, others_says
from sfn.reception.quality import (
    ACCEPTABLE_PROBABILITY,
    ServiceQuality,
    Yardstick,
    service_quality,
    yardstick,
)
from sfn.reception.significance import decides, significant
from sfn.report.numbers import number
from sfn.study.stretch import JOIN_M, Stretch
from sfn.study.what_if import Tried
from sfn.survey.track import Samples
from sfn.systems.ofdm_window import RISK_STRATEGY
from sfn.units import finite_or_none

Floats = NDArray[np.float64]

LEVEL_SETS_N, PHASES_N = 64, 16  # of the drawn shares at each place


@dataclass(frozen=True, slots=True)
class Road:
    """Reception along a line with given launches; arrays shaped (S, M) hold the sites that are on air.

    Parameters
    ----------
    network : Network
        With what is tried in force.
    samples : Samples
    signals : LineSignals
    sites : tuple of str
        Those on air, in document order.
    level_dbuvm, delay_difference_us : ndarray, shape (S, M)
        Delay: arrival minus that of the strongest. [dB(uV/m), us]
    counts : ndarray of bool, shape (S, M)
        Which are significant.
    strongest, second : ndarray of int, shape (M,)
        Rows of the two strongest; -1 where there is none.
    quality : ServiceQuality
    figures : mapping of name to ndarray, shape (M,)
        S/N in stereo and mono, or C/(N+I); see `sfn.reception.figures.figures`. [dB]
    shares : mapping of name to ndarray, shape (M,)
        FM: ``share_stereo``, ``share_blended`` and ``share_upset`` of listeners, levels and phases drawn.
    class_m : tuple of float
        Length in each of `CLASSES`, by their codes. [m]
    unknown_m, uncovered_m : float
        Length that is not judged, for the level of some site is not known; and where the terrain leaves out some of
        the path from some site, small gaps that were filled included. [m]
    stretches : tuple of Stretch
        Those without adequate service, the longest loss first.
    says : tuple of str
        What is tried, in words; empty where it is the plan.
    """

    network: Network
    samples: Samples
    signals: LineSignals
    yard: Yardstick
    sites: tuple[str, ...]
    level_dbuvm: Floats
    delay_difference_us: Floats
    counts: NDArray[np.bool_]
    strongest: NDArray[np.intp]
    second: NDArray[np.intp]
    quality: ServiceQuality
    figures: Mapping[str, NDArray[np.float32]]
    shares: Mapping[str, Floats]
    class_m: tuple[float, ...]
    unknown_m: float
    uncovered_m: float
    stretches: tuple[Stretch, ...]
    says: tuple[str, ...]
    beside: Needed | None = None
    """What others on the channel ask for at each place; None where none is listed."""
    missing: tuple[str, ...] = ()
    """Sites on air whose signal is not known somewhere: reception is not judged there, as on the map."""

    @property
    def served_m(self) -> float:
        """Length with adequate service. [m]"""
        return float(np.array(self.class_m)[SERVED].sum())

    @property
    def risk_m(self) -> float | None:
        """OFDM: length served to receivers that place their window by "strongest"; None elsewhere. [m]"""
        risk = self.quality.risk_class
        return None if risk is None else float(self.samples.share_m()[is_served(risk)].sum())

    @property
    def drawn_m(self) -> float | None:
        """OFDM: length where most places around are served, levels drawn and receivers following. [m]"""
        share = self.quality.probability
        return None if share is None else float(self.samples.share_m()[share >= ACCEPTABLE_PROBABILITY].sum())

    @property
    def shares_say(self) -> str:
        """OFDM: what "strongest" would serve, and where most places are served with levels drawn; empty elsewhere."""
        risk_m, drawn_m = self.risk_m, self.drawn_m
        if risk_m is None or drawn_m is None:
            return ""
        served, risk, drawn = (number(one / 1000, 1) for one in (self.served_m, risk_m, drawn_m))
        return (
            f"Served: {served} km; by “{RISK_STRATEGY}”, the receiver's risk: {risk} km. With levels drawn and "
            f"receivers following, at least {100 * ACCEPTABLE_PROBABILITY:g} % of the places around are served "
            f"on {drawn} km"
        )

    @property
    def unknown_says(self) -> str:
        """How much of the way is not judged, and for want of whose signals; empty where all is."""
        if not self.unknown_m:
            return ""
        names = {site.id: format(SiteName(site.name)) for site in self.network.sites}
        why = ", ".join(names[name] for name in self.missing)
        what = f": the terrain does not hold the way from {why}" if why else ", no signal is known"
        return f"Reception is not judged on {number(self.unknown_m / 1000, 1)} km{what}"

    @property
    def treetops_m(self) -> float:
        """Length where treetops and roofs count as bare ground under the receiver. [m]"""
        flags = self.signals.on_treetops
        return 0.0 if flags is None else float(self.samples.share_m()[flags].sum())

    @property
    def treetops_say(self) -> str:
        """The same in words; empty where there is none."""
        return line_says(self.treetops_m, self.samples.length_m)

    @property
    def beside_says(self) -> tuple[str, ...]:
        """What page, command and files say beside classes."""
        said = self.says_of_classes.lines
        more = (one for one in (self.unknown_says, self.treetops_say, self.shares_say) if one)
        return (*said, *more, self.others_says)

    @property
    def smooth_says(self) -> str:
        """How much too high antennas count where no terrain is named."""
        return smooth_says(self.network)

    @property
    def shown(self) -> tuple[int, ...]:
        """Codes of the classes that the service has, the best first."""
        return shown_classes(self.yard.carried)

    @property
    def words(self) -> tuple[str, ...]:
        """The classes for people, by their codes."""
        return class_words(self.yard.carried)

    def other_at(self, place: int) -> str | None:
        """The other station that disturbs a sample, by name; None where none does."""
        disturbed = self.beside is not None and self.quality.quality_class[place] == OTHER_STATION
        return self.beside.name_at(place) if self.beside is not None and disturbed else None

    @property
    def says_of_classes(self) -> ClassSays:
        """What stands beside every class."""
        return class_says(self.network, self.yard)

    @property
    def others_says(self) -> str:
        """What is known of transmitters of other programmes, in words."""
        return others_says(self.network, self.yard.carried, self.signals.others)

    def of_second(self, values: Floats) -> Floats:
        """Row of the second strongest out of values shaped (S, M); NaN where there is none."""
        columns = np.arange(values.shape[1])
        if not len(values):
            return np.full(len(columns), np.nan)
        return np.where(self.second >= 0, values[np.maximum(self.second, 0), columns], np.nan)

    def between(self, from_m: float, to_m: float) -> tuple[float, float | None]:
        """How much of a part of the road has no adequate service, and the least margin on it. [m, dB]"""
        edges_m = self.samples.edges_m
        share_m = np.clip(np.minimum(edges_m[1:], to_m) - np.maximum(edges_m[:-1], from_m), 0.0, None)
        margin = self.quality.margin_db[(share_m > 0) & np.isfinite(self.quality.margin_db)]
        lost_m = float(share_m[is_lost(self.quality.quality_class)].sum())
        return lost_m, float(margin.min()) if margin.size else None

    @property
    def covered(self) -> NDArray[np.bool_]:
        """Whether the terrain covers the paths from all sites on air, shape (M,)."""
        rows = [self.signals.sites.index(name) for name in self.sites]
        return np.asarray(self.signals.covered[rows].all(axis=0))

    @property
    def level_difference_db(self) -> Floats:
        """Second strongest minus strongest, shape (M,). [dB]"""
        top = np.fmax.reduce(self.level_dbuvm, axis=0, initial=np.nan)
        return np.asarray(self.of_second(self.level_dbuvm) - top)


def road(
    now: Tried, samples: Samples, signals: LineSignals, *, near: Mapping[str, tuple[float, float]] | None = None
) -> Road:
    """Reception along a line from levels that were computed before.

    Parameters
    ----------
    now : Tried
        The network with what is tried in force, and its launches.
    samples : Samples
    signals : LineSignals
        Of the same samples.
    near : mapping of name to (latitude, longitude), optional
        Places and sites that a stretch may be called after.

    Raises
    ------
    PlanError
        If the service is not known.
    """
    network, yard = now.network, yardstick(now.network)
    radiating = network.transmitting
    rows = np.array([i for i, name in enumerate(signals.sites) if name in radiating], dtype=np.intp)
    sites = tuple(signals.sites[i] for i in rows)
    gain_db = behind_antenna(network, signals.level_dbuvm[rows], signals.bearing_deg[rows])
    level, rare = signals.level_dbuvm[rows] + gain_db, signals.level_1pct_dbuvm[rows] + gain_db
    arrival = signals.travel_us[rows] + np.array([now.launches[name] for name in sites])[:, None]
    beside = needed_along(network, signals, rows, yard.carried)
    quality = service_quality(
        level,
        arrival,
        yard,
        frequency_mhz=network.frequency_mhz,
        level_1pct_dbuvm=rare,
        sites=sites,
        other=beside,
    )
    share = drawn_share(
        level,
        arrival,
        yard,
        frequency_mhz=network.frequency_mhz,
        bearing_deg=signals.bearing_deg[rows],
        masts=masts_of(network, sites),
        level_1pct_dbuvm=rare,
        strangers=None if beside is None else beside.strangers,
    )
    quality = replace(quality, probability=None if share is None else share.share)
    strongest, second = _two(level)
    columns = np.arange(level.shape[1])
    reference = arrival[np.maximum(strongest, 0), columns] if len(rows) else np.full(level.shape[1], np.nan)
    counts = np.zeros(level.shape, dtype=bool)
    if len(rows):
        counts = significant(level, arrival, significant_db=yard.counts.significant_db, guard_us=yard.counts.guard_us)
        upset = np.flatnonzero(decides(quality.quality_class) & np.isfinite(quality.limiting))
        counts[quality.limiting[upset].astype(np.intp), upset] = True  # what decides the class counts there
    share_m = samples.share_m()
    missing = np.isnan(level) & ~signals.covered[rows]
    known = np.asarray(~missing.any(axis=0))
    quality = quality.where(known)
    classes = quality.quality_class
    made = Road(
        network, samples, signals, yard, sites, level,
        np.where(np.isfinite(level), arrival - reference, np.nan), counts, strongest, second, quality,
        _where(known, figures(quality, level, arrival, yard)),
        _where(known, _shares(yard, level, arrival, sites, None if beside is None else beside.level_dbuvm)),
        tuple(float(share_m[classes == k].sum()) for k in range(len(CLASSES))),
        float(share_m[np.isnan(classes)].sum()),
        float(share_m[~signals.covered[rows].all(axis=0)].sum()),
        (), now.says, beside, tuple(name for name, row in zip(sites, missing, strict=True) if row.any()),
    )  # fmt: skip
    return _with_stretches(made, near or {})


def _shares(
    yard: Yardstick, level: Floats, arrival: Floats, sites: tuple[str, ...], other_dbuvm: Floats | None
) -> dict[str, Floats]:
    """FM: shares of listeners at each place."""
    if yard.sets is None or not len(level):
        return {}
    found = listener_sharing(yard, level, arrival, sites, LEVEL_SETS_N, PHASES_N, workers=2)
    found = found.beside(under_others(level, other_dbuvm))
    return {"share_stereo": found.stereo, "share_blended": found.blended, "share_upset": found.upset}


def _where(known: NDArray[np.bool_], values: Mapping[str, Any]) -> dict[str, Any]:
    """Values at places, NaN where reception is not judged."""
    return {name: np.where(known, one, np.nan).astype(one.dtype) for name, one in values.items()}


def _two(level: Floats) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows of the two strongest at each place, -1 where there is none."""
    none = np.full(level.shape[1], -1, dtype=np.intp)
    if not len(level):
        return none, none
    known = np.where(np.isfinite(level), level, -np.inf)
    order = np.argsort(-known, axis=0, kind="stable")
    columns = np.arange(level.shape[1])
    first = np.where(np.isfinite(known[order[0], columns]), order[0], -1)
    if len(level) < 2:
        return first, none
    return first, np.where(np.isfinite(known[order[1], columns]), order[1], -1)


def _with_stretches(of: Road, near: Mapping[str, tuple[float, float]]) -> Road:
    """The road with its stretches that have no adequate service."""
    bad = is_lost(of.quality.quality_class)  # not where nothing is known
    edges_m = of.samples.edges_m
    starts = np.flatnonzero(bad & ~np.concatenate(([False], bad[:-1])))
    ends = np.flatnonzero(bad & ~np.concatenate((bad[1:], [False]))) + 1
    joined: list[list[int]] = []
    for a, b in zip(starts.tolist(), ends.tolist(), strict=True):
        if joined and edges_m[a] - edges_m[joined[-1][1]] <= JOIN_M:
            joined[-1][1] = b
        else:
            joined.append([a, b])
    made = [_stretch(of, a, b, edges_m, near) for a, b in joined]
    return replace(of, stretches=tuple(sorted(made, key=lambda s: (-s.lost_m, s.margin_db))))


def _stretch(of: Road, a: int, b: int, edges_m: Floats, near: Mapping[str, tuple[float, float]]) -> Stretch:
    """One stretch, from sample `a` to before `b`."""
    part = slice(a, b)
    classes, share_m = of.quality.quality_class[part], np.diff(edges_m)[part]
    lengths = {code: float(share_m[classes == code].sum()) for code in (UPSET, OTHER_STATION, TOO_WEAK)}
    name = CLASSES[max(lengths, key=lambda code: lengths[code])]
    lost = is_lost(classes)
    worst = a + int(np.argmin(np.where(lost, of.quality.margin_db[part], np.inf)))
    delay, level = of.of_second(of.delay_difference_us)[worst], of.level_difference_db[worst]
    lat, lon = float(of.samples.lat_deg[worst]), float(of.samples.lon_deg[worst])
    nearest, away_m = _nearest(lat, lon, near)
    hurts, top, second = of.quality.limiting[worst], int(of.strongest[worst]), int(of.second[worst])
    who = None if np.isnan(hurts) else int(hurts)
    apart = who is not None and top >= 0 and who != top
    there = int(classes[worst - a])
    return Stretch(
        float(edges_m[a]), float(edges_m[b]), sum(lengths.values()), name, None if who is None else of.sites[who],
        of.sites[top] if top >= 0 else None, float(of.quality.margin_db[worst]), lat, lon, finite_or_none(delay),
        finite_or_none(level), nearest, away_m, of.sites[second] if second >= 0 else None,
        finite_or_none(float(of.delay_difference_us[who, worst])) if apart else None,
        finite_or_none(float(of.level_dbuvm[who, worst] - of.level_dbuvm[top, worst])) if apart else None,
        of.other_at(worst), of.words[CLASSES.index(name)],
        tuple((of.words[k], lengths[k]) for k in sorted(lengths, key=lambda code: -lengths[code]) if lengths[k] > 0),
        CLASSES[there], of.words[there],
    )  # fmt: skip


def _nearest(lat: float, lon: float, near: Mapping[str, tuple[float, float]]) -> tuple[str, float]:
    """Name and distance of the nearest place. [m]"""
    if not near:
        return "", float("nan")
    spots = np.array(list(near.values()), dtype=np.float64)
    here = np.full(len(spots), lat), np.full(len(spots), lon)
    away_m = inverse(spots[:, 0], spots[:, 1], *here)[0]
    at = int(np.argmin(away_m))
    return list(near)[at], float(away_m[at])
