"""One place judged: class, margin, which signal is wanted, which hurts, and what would fix it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from sfn.geodesy.line import sphere_bearing
from sfn.geodesy.sites import placed_sites
from sfn.plan import Network
from sfn.plan.record import SiteName
from sfn.reception.aimed import masts_of
from sfn.reception.class_says import ClassSays, class_says
from sfn.reception.classes import CLASSES, TOO_WEAK, WITH_MARGIN, class_words
from sfn.reception.drawn_quality import drawn_share
from sfn.reception.figures import figures
from sfn.reception.heard import Heard, heard as heard_by
from sfn.reception.judged import Judged, draws_say, judge, share_off, step_of
from sfn.reception.others import Needed, needed_at, others_says
from sfn.reception.quality import ServiceQuality, Yardstick
from sfn.reception.signals import PointSignals, Signal
from sfn.reception.significance import decides
from sfn.systems.fm_answer import fm_answer
from sfn.systems.fm_carried import heard_programme
from sfn.systems.fm_listeners import LISTENER_SPREAD_DB
from sfn.systems.ofdm import of_strategy, ofdm_answer
from sfn.systems.vsb import vsb_answer

# How far a fix is looked for: 60 us of FM, three guard intervals of OFDM, in this many steps to either side.
FM_REACH_US = 60.0
OFDM_REACH_GUARDS = 3.0
STEPS_N = 120


@dataclass(frozen=True, slots=True)
class Fix:
    """One site's change of offset: the smallest that brings the point to target, or the best there is."""

    site: str
    site_name: str
    change_us: float
    margin_db: float
    reaches_target: bool


@dataclass(frozen=True, slots=True)
class PointQuality:
    """Quality at one place. `answer` is that of the service's own model, as for any list of signals.

    Class and shares go by drawn sets, as on a finished map; `quick_` has the quick estimate of the same.
    """

    class_name: str
    for_people: str
    """The same in the words that people get: FM by the share of listeners."""
    margin_db: float
    figure_db: float
    probability: float | None
    """OFDM: share of the places around that are served, levels drawn, receivers following, sites as they correlate;
    beside stations with other programmes, whose levels are drawn too."""
    independent_probability: float | None
    """The same as if no two sites' levels varied together."""
    wanted: str
    hurts: str | None
    hurts_place: int | None
    """Place among the point's signals."""
    adequate_snr_db: float
    implementation_margin_db: float
    heard: Heard | None
    """FM: what listeners around the place hear."""
    answer: dict[str, Any]
    fixes: tuple[Fix, ...]
    says: ClassSays
    """What stands beside the class."""
    target_class: str
    """The class with margin, which a fix reaches or does not."""
    beside: Needed | None = None
    """What the strongest must reach beside transmitters of other programmes; None where none is listed."""
    others_says: str = ""
    """What is known of these, in words."""
    quick_probability: float | None = None
    """OFDM: the quick estimate of the same share."""
    without: tuple[str, ...] = ()
    """Names of sites on air that it does without, their path's ground unknown: the map judges no such place, and no
    fix is looked for."""
    own_probability: float | None = None
    """OFDM: the drawn share as if no station with another programme were there."""
    quick_class_name: str = ""
    """The class by the quick estimate, as a map being tried has it first and a search goes by it."""
    quick_for_people: str = ""
    share_step_ratio: float | None = None
    """Step of the drawn shares, one set of levels; None where none are drawn. [1]"""
    share_off_ratio: float | None = None
    """By how much a drawn share may be off, from that of very many draws; None where none are drawn. [1]"""
    others_short_ratio: float | None = None
    """FM beside another station: share of the places around where the strongest falls short of what it asks for, which
    class and shares, going by its median, do not count; None elsewhere. [1]"""
    drawn_says: str = ""
    """How many sets are drawn, how fine that makes shares, and how far off; empty where none are."""

    @property
    def without_says(self) -> str:
        """The same in words; empty where all are known."""
        if not self.without:
            return ""
        names = ", ".join(format(SiteName(name)) for name in self.without)
        return (
            f"Judged without {names}: the terrain does not hold the way from there, so with all signals it may be "
            "otherwise, and the map shows nothing here. No offset is advised"
        )

    @property
    def quick_says(self) -> str:
        """What the quick estimate says, where it is another class; empty where it is the same."""
        if self.quick_for_people == self.for_people:
            return ""
        return (
            f"The quick estimate says “{self.quick_for_people}”: so does a map whose delays are being tried, at first, "
            "and searches go by it"
        )

    @property
    def others_short_says(self) -> str:
        """The same in words; empty where nothing is said."""
        if self.others_short_ratio is None:
            return ""
        return (
            f"at {100 * self.others_short_ratio:.0f} % of the places around it falls short of that, two levels apart "
            f"by a spread of {LISTENER_SPREAD_DB:g} dB: class and shares go by the medians and leave that out"
        )

    @property
    def probability_says(self) -> str:
        """What the shares of places count besides our own sites; empty where nothing."""
        if self.probability is None or self.beside is None or not self.beside.name_at(0):
            return ""
        return "levels of stations with other programmes are drawn with those of our own sites, and count"


def point_quality(network: Network, point: PointSignals, yard: Yardstick) -> PointQuality | None:
    """Quality at a point whose signals are known; None without signals.

    Parameters
    ----------
    network : Network
    point : PointSignals
    yard : Yardstick
    """
    if not point.signals:
        return None
    level, rare, arrival = _arrays(point)
    judged = _judged(network, yard, point, level, rare, arrival)
    found, code, quick_code = judged.quality, *(int(q.quality_class[0]) for q in (judged.quality, judged.quick))
    figure = next(iter(figures(found, level, arrival, yard).values()))
    answer = _answer(network, yard, level[:, 0], rare[:, 0], arrival[:, 0])
    limiting = found.limiting[0]
    names = [signal.site_name for signal in point.signals]
    place = None if np.isnan(limiting) else int(limiting)
    hurts = None if place is None else names[place]
    wanted = names[_wanted(answer)]
    beside = needed_at(network, point, yard.carried)
    words, share = class_words(yard.carried), judged.share
    apart = None
    if share is not None:
        apart = drawn_share(
            level,
            arrival,
            yard,
            frequency_mhz=network.frequency_mhz,
            bearing_deg=_bearings(network, point),
            masts=masts_of(network, [signal.site for signal in point.signals]),
            level_1pct_dbuvm=rare,
            strangers=None if beside is None else beside.strangers,
            correlated=False,
        )
    return PointQuality(
        CLASSES[code],
        words[code],
        float(found.margin_db[0]),
        float(figure[0]),
        None if share is None else float(share.share[0]),
        None if apart is None else float(apart.share[0]),
        wanted,
        hurts,
        place,
        yard.adequate_snr_db,
        yard.implementation_margin_db,
        None if judged.shares is None else heard_by(network, yard, judged.shares, code, level, other=beside),
        answer,
        () if point.uncovered or code == WITH_MARGIN else _fixes(network, point, yard),
        class_says(network, yard, drawn=judged.drawn),
        words[WITH_MARGIN],
        beside,
        others_says(network, yard.carried, point.others),
        None if judged.quick.probability is None else float(judged.quick.probability[0]),
        point.uncovered,
        None if share is None else float(share.own[0]),
        CLASSES[quick_code],
        words[quick_code],
        step_of(yard.carried) if judged.drawn else None,
        share_off(yard.carried) if judged.drawn else None,
        _short(beside, yard, level),
        draws_say(yard.carried) if judged.drawn else "",
    )


def _short(beside: Needed | None, yard: Yardstick, level: np.ndarray) -> float | None:
    """FM: share of the places around where the strongest falls short of what another station asks for."""
    if beside is None or yard.carried.kind != "fm" or not beside.name_at(0):
        return None
    return beside.short_ratio(0, float(np.nanmax(level)))


def with_verdict(point: PointSignals, quality: PointQuality | None) -> PointSignals:
    """The point with what the verdict adds: usable is what is not too weak, and what decides its class counts.

    Every signal is judged, however weak, and one that arrives far off the others may upset a place from further down
    than where signals are usually named.
    """
    if quality is None:
        return point
    decided = bool(decides(np.array(CLASSES.index(quality.class_name))))
    signals = tuple(
        replace(signal, significant=signal.significant or (decided and place == quality.hurts_place))
        for place, signal in enumerate(point.signals)
    )
    arrivals = [signal.arrival_us for signal in signals if signal.significant]
    return replace(
        point,
        signals=signals,
        delay_spread_us=max(arrivals) - min(arrivals),
        usable=quality.class_name != CLASSES[TOO_WEAK],
    )


def _arrays(point: PointSignals) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Levels, levels at 1 % of time and arrivals against the strongest, shape (S, 1)."""
    return (
        np.array([[s.level_dbuvm] for s in point.signals]),
        np.array([[s.level_1pct_dbuvm] for s in point.signals]),
        np.array([[s.delay_difference_us] for s in point.signals]),
    )


def _judged(
    network: Network, yard: Yardstick, point: PointSignals, level: np.ndarray, rare: np.ndarray, arrival: np.ndarray
) -> Judged:
    """Quality of signals of a point shaped (S, M), by drawn sets as a finished map's pixels are."""
    sites = [signal.site for signal in point.signals]
    return judge(
        level,
        arrival,
        yard,
        frequency_mhz=network.frequency_mhz,
        sites=sites,
        bearing_deg=np.broadcast_to(_bearings(network, point), level.shape),
        masts=masts_of(network, sites),
        level_1pct_dbuvm=rare,
        other=_other(network, yard, point, level.shape[1]),
        workers=1,
    )


def _bearings(network: Network, point: PointSignals) -> np.ndarray:
    """From the point to the sites, on the sphere as a map has them, shape (S, 1). [degrees]"""
    placed = placed_sites(network).at
    at = np.array([(placed[s.site].lat_deg, placed[s.site].lon_deg) for s in point.signals])
    return sphere_bearing(point.lat_deg, point.lon_deg, at[:, :1], at[:, 1:]).astype(np.float32)


def _other(network: Network, yard: Yardstick, point: PointSignals, places_n: int) -> Needed | None:
    """What the strongest must reach beside others, the same at so many tries."""
    beside = needed_at(network, point, yard.carried)
    return None if beside is None else beside.at(np.zeros(places_n, dtype=np.intp))


def _answer(
    network: Network, yard: Yardstick, level: np.ndarray, rare: np.ndarray, arrival: np.ndarray
) -> dict[str, Any]:
    """The service's own answer for the list of signals."""
    if yard.carried.kind == "fm":
        return fm_answer(level, arrival, programme=yard.programme) | {"programme": heard_programme(network)}
    if yard.carried.kind == "ofdm":
        return ofdm_answer(
            level,
            arrival,
            yard.carried,
            levels_1pct=rare,
            placing=yard.placing,
            frequency_mhz=network.frequency_mhz,
        )
    return vsb_answer(level, arrival, yard.carried, levels_1pct=rare, frequency_mhz=network.frequency_mhz)


def _wanted(answer: Mapping[str, Any]) -> int:
    """Place of the wanted signal in the list: the strongest, or the one that the window is about."""
    if "strategies" in answer:
        return int(of_strategy(answer)["wanted"])
    return int(answer.get("wanted", 0))


def _fixes(network: Network, point: PointSignals, yard: Yardstick) -> tuple[Fix, ...]:
    """What each site's offset alone could do, the smallest effective change first."""
    level, rare, arrival = _arrays(point)
    guard = yard.carried.guard_us
    reach = FM_REACH_US if yard.carried.kind != "ofdm" or guard is None else OFDM_REACH_GUARDS * guard
    changes = np.linspace(-reach, reach, 2 * STEPS_N + 1)
    sites = {site.id: site for site in network.sites}
    made = []
    for signal in point.signals:
        if sites[signal.site].offset_held:
            continue
        moved = np.array([[_moves(network, signal, other)] for other in point.signals], dtype=float)
        shape = (len(point.signals), changes.size)
        found = _judged(
            network, yard, point, np.broadcast_to(level, shape), np.broadcast_to(rare, shape), arrival + moved * changes
        ).quality
        fix = _best(changes, found)
        if fix is not None:
            made.append(Fix(signal.site, signal.site_name, *fix))
    return tuple(sorted(made, key=lambda fix: (not fix.reaches_target, abs(fix.change_us), -fix.margin_db)))


def _moves(network: Network, signal: Signal, other: Signal) -> bool:
    """Whether a change at one site moves another's arrival: itself, or a site that receives it off air."""
    parents = {site.id: site.fed_off_air_from for site in network.sites}
    at: str | None = other.site
    while at is not None:
        if at == signal.site:
            return True
        at = parents[at]
    return False


def _best(changes: np.ndarray, found: ServiceQuality) -> tuple[float, float, bool] | None:
    """The smallest change that reaches the class with margin; else the one with the best margin, if it helps."""
    good = np.flatnonzero(found.quality_class == WITH_MARGIN)
    if good.size:
        at = good[np.argmin(np.abs(changes[good]))]
        return float(changes[at]), float(found.margin_db[at]), True
    now = found.margin_db[changes.size // 2]
    at = int(np.argmax(found.margin_db - 1e-6 * np.abs(changes)))
    if found.margin_db[at] <= now + 0.5:
        return None
    return float(changes[at]), float(found.margin_db[at]), False
