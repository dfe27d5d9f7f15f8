"""Service quality over places: margins, classes (`classes`), who limits, what is lost to our own sites.

FM goes by the share of listeners: `sfn.systems.fm_shares`.
"""

from collections.abc import Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field, fields, replace
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from sfn.plan import Network
from sfn.reception.beside import Beside, joint_share
from sfn.reception.classes import BLENDED, JUST_ENOUGH, OTHER_STATION, TOO_WEAK, UPSET, WITH_MARGIN
from sfn.reception.drawn import Spread
from sfn.reception.fm_sets import FmSets, fm_sets
from sfn.reception.ofdm_receivers import placing_of, spread_of
from sfn.reception.significance import Criteria, criteria, limiting, with_margin
from sfn.reception.statistics import DEFAULT_K_FACTOR
from sfn.systems.fm import IMPLEMENTATION_MARGIN_DB, quality as fm_quality
from sfn.systems.fm_carried import USUAL, carried_by
from sfn.systems.fm_causes import Nodes
from sfn.systems.fm_shares import ShareTables, Wanted, share_tables
from sfn.systems.link_chain import noise_field_dbuvm
from sfn.systems.of_network import service_of
from sfn.systems.ofdm import profile
from sfn.systems.ofdm_map import ofdm_map, with_risk
from sfn.systems.ofdm_window import Placing
from sfn.systems.service import Service
from sfn.systems.vsb import vsb_margins

Singles = NDArray[np.float32]
Doubles = NDArray[np.float64]

ADEQUATE_SNR_DB = 30.0  # FM: "fair"; engineering judgement, editable in the network's thresholds
TARGET_SNR_DB = 40.0  # FM: "good"
LEVEL_MARGIN_DB = 6.0  # predictions are 6 to 8 dB uncertain
ACCEPTABLE_PROBABILITY = 0.7  # of places; below it a place does not count as served (GE06 practice, from memory)


@dataclass(frozen=True, slots=True)
class Yardstick:
    """What quality is held against; every figure is the network's own or the service's.

    `implementation_margin_db` comes off the S/N (FM; `sets` has that of stereo and of mono), or is part of what
    `carried` requires (OFDM, VSB). `placing` is how an OFDM receiver places its window, without None where the strategy
    has a figure.
    """

    carried: Service
    counts: Criteria
    adequate_snr_db: float
    target_snr_db: float
    implementation_margin_db: float
    placing: Placing = field(default_factory=Placing)
    spread: Spread = field(default_factory=lambda: Spread(0.0))
    """OFDM: how levels vary over places, for the share of them that is served."""
    programme: Nodes = USUAL
    """FM: what is heard."""
    sets: FmSets | None = None
    """FM: whose sets listen."""

    def tables(self, sites: Sequence[str]) -> ShareTables:
        """FM: what the share of listeners goes by, for signals of these sites in their order."""
        return share_tables(self._wanted(), sites, (self.sets or FmSets()).errors)

    def in_step(self) -> ShareTables:
        """The same of two sites that differ in nothing but the delay."""
        return share_tables(self._wanted())

    def _wanted(self) -> Wanted:
        """What counts as served."""
        sets = self.sets or FmSets()
        return Wanted(self.programme, sets.blend, self.adequate_snr_db, sets.margin_db, sets.stereo, sets.served_ratio)


@dataclass(frozen=True, slots=True)
class ServiceQuality:
    """Quality at M places, shape (M,); NaN where no signal is known.

    Parameters
    ----------
    margin_db : ndarray of float32
        Over what is adequate: FM, the smaller of the margin of level and of what the noise of all echoes may rise by
        until too few listeners hear it clear; that of the chosen window strategy (OFDM), of the echo mask (VSB);
        at most that over other stations. Negative: not served. [dB]
    figure_db : ndarray of float32
        FM: S/N wanted plus what the noise of echoes may rise by. OFDM: C/(N+I). VSB: margin with the required C/N. [dB]
    quality_class : ndarray of float32
        Code of the class, see `sfn.reception.classes`.
    limiting : ndarray of float32
        Row of the signal that hurts most; NaN where none does that counts, or another station disturbs.
    probability : ndarray of float32 or None
        OFDM: share of places around that are served, beside stations with other programmes too: a quick estimate with
        the window where the medians put it, on which the classes rest; `drawn_quality` lets the receiver follow.
    risk_class : ndarray of float32 or None
        OFDM: the class that a receiver with the strategy "strongest" would get, the receiver's risk.
    risk_probability : ndarray of float32 or None
        OFDM: `probability` of such receivers.
    """

    margin_db: Singles
    figure_db: Singles
    quality_class: Singles
    limiting: Singles
    probability: Singles | None
    risk_class: Singles | None = None
    risk_probability: Singles | None = None
    own_margins_db: Singles | None = None
    """OFDM: margins of our own sites alone with the chosen strategy and, where that is another, with "strongest", shape
    (K, M). [dB]"""
    taking: Singles | None = None
    """Row of the signal of ours that takes most, named or not: other classes name it elsewhere (`limiting`)."""

    def where(self, known: NDArray[np.bool_]) -> "ServiceQuality":
        """The same at places where all signals are known, NaN at the others; shape (M,)."""
        if known.all():
            return self
        none = np.float32(np.nan)
        values = {one.name: getattr(self, one.name) for one in fields(self)}
        return replace(self, **{k: np.where(known, v, none) for k, v in values.items() if v is not None})


def yardstick(network: Network) -> Yardstick:
    """What a network's quality is held against.

    Raises
    ------
    PlanError
        If the service is not known, or the receiver's window is out of its range.
    """
    plain, own = service_of(network), network.thresholds
    carried = with_margin(network, plain)
    mode = "mono" if carried.id == "fm-mono" else "stereo"
    given = own.implementation_margin_db
    return Yardstick(
        carried,
        criteria(network, plain),
        own.adequate_snr_db if own.adequate_snr_db is not None else ADEQUATE_SNR_DB,
        own.target_snr_db if own.target_snr_db is not None else TARGET_SNR_DB,
        (IMPLEMENTATION_MARGIN_DB[mode] if carried.kind == "fm" else 0.0) if given is None else given,
        placing_of(network, carried),
        spread_of(network, carried),
        carried_by(network) if carried.kind == "fm" else USUAL,
        fm_sets(network, stereo=mode == "stereo") if carried.kind == "fm" else None,
    )


def service_quality(
    level_dbuvm: NDArray[np.floating],
    arrival_us: Doubles,
    yard: Yardstick,
    *,
    frequency_mhz: float,
    level_1pct_dbuvm: NDArray[np.floating] | None = None,
    sites: Sequence[str] = (),
    other: Beside | None = None,
    executor: Executor | None = None,
    workers: int = 2,
) -> ServiceQuality:
    """Quality at M places of S signals.

    Parameters
    ----------
    level_dbuvm, arrival_us : ndarray, shape (S, M)
        Median levels (NaN: no signal) and arrival times. [dB(uV/m), us]
    yard : Yardstick
    frequency_mhz : float
        Carrier, for the noise field of OFDM and VSB. [MHz]
    level_1pct_dbuvm : ndarray, shape (S, M), optional
        Levels at 1 % of time, for what interferes (OFDM, VSB). [dB(uV/m)]
    sites : sequence of str
        Ids of the rows; FM needs them where lock sheets let two sites differ.
    other : Beside, optional
        What the strongest signal must reach against stations with other programmes.
    executor : concurrent.futures.Executor, optional
        Threads to share the places among.
    workers : int
        Threads of the FM map.
    """
    if level_dbuvm.shape[0] == 0:
        nothing = np.full(level_dbuvm.shape[1], np.nan, dtype=np.float32)
        return ServiceQuality(nothing, nothing, nothing, nothing, None)
    top = np.fmax.reduce(level_dbuvm, axis=0)
    if yard.carried.kind == "fm":
        found = _fm(level_dbuvm, arrival_us, yard, top, sites, workers)
    elif yard.carried.kind == "ofdm":
        found = _ofdm(level_dbuvm, arrival_us, yard, top, frequency_mhz, level_1pct_dbuvm, executor)
    else:
        found = _vsb(level_dbuvm, arrival_us, yard, top, frequency_mhz, level_1pct_dbuvm)
    said = limiting(found.limiting, found.quality_class, level_dbuvm, arrival_us, yard.counts)
    found = replace(found, limiting=said, taking=found.limiting)
    return found if other is None else _beside_others(found, top, other, yard)


def _beside_others(
    found: ServiceQuality, top_dbuvm: NDArray[np.floating], other: Beside, yard: Yardstick
) -> ServiceQuality:
    """The same where stations with other programmes count: they spoil what our own sites would serve, or upset less."""
    spare = (top_dbuvm - other.level_dbuvm).astype(np.float32)
    classes = beside_classes(found.quality_class, found.probability, found.margin_db, spare, other, yard)
    disturbed = classes == OTHER_STATION
    risk = found.risk_class
    return replace(
        found,
        margin_db=np.fmin(found.margin_db, np.where(np.isnan(found.margin_db), np.nan, spare)).astype(np.float32),
        quality_class=classes,
        limiting=np.where(disturbed, np.float32(np.nan), found.limiting).astype(np.float32),
        probability=_joint(found.probability, other),
        risk_class=None
        if risk is None
        else beside_classes(risk, found.risk_probability, found.margin_db, spare, other, yard),
        risk_probability=_joint(found.risk_probability, other),
    )


def _joint(own: Singles | None, other: Beside) -> Singles | None:
    """OFDM: the quick share of places served beside other programmes."""
    return own if own is None or other.share is None else joint_share(own, other.share).astype(np.float32)


def beside_classes(
    own: Singles,
    own_share: Singles | None,
    margin_db: Singles,
    spare_db: Singles,
    other: Beside,
    yard: Yardstick,
    share: Singles | None = None,
) -> Singles:
    """Classes where stations with other programmes count, out of those of our own sites alone, shape (M,).

    Parameters
    ----------
    own, own_share, margin_db : ndarray
        Classes, shares of places (OFDM) and margins of our own sites alone. [1, dB]
    spare_db : ndarray
        By how much the strongest reaches what is asked by the medians. [dB]
    other : Beside
    yard : Yardstick
    share : ndarray, optional
        OFDM: share of places served beside them, where it was drawn; else the quick estimate.
    """
    blocked, short = spare_db < 0, spare_db < LEVEL_MARGIN_DB
    spoilt = blocked
    joint = _joint(own_share, other) if share is None else share
    if other.share is not None and joint is not None:
        # OFDM: as our own sites are judged, by the share of the places around and not by a margin
        blocked = blocked | (other.share < ACCEPTABLE_PROBABILITY)
        spoilt = np.asarray((spare_db < 0) | (joint < ACCEPTABLE_PROBABILITY))
        short = np.asarray(joint < yard.carried.location_pct / 100.0)
    upset_less = blocked & ~(margin_db < spare_db)
    disturbed = np.where(own == UPSET, upset_less, spoilt) & (own != TOO_WEAK) & ~np.isnan(own)
    made = np.where((own == WITH_MARGIN) & short, np.float32(JUST_ENOUGH), own)
    return np.where(disturbed, np.float32(OTHER_STATION), made).astype(np.float32)


def _fm(
    level: NDArray[np.floating],
    arrival: Doubles,
    yard: Yardstick,
    top: NDArray[np.floating],
    sites: Sequence[str],
    workers: int,
) -> ServiceQuality:
    """FM: by the share of listeners who hear it clear, and clear in stereo; and by level.

    Every signal counts, however weak: noise falls by one dB for each dB, and where an echo is late by tens of
    microseconds one of 35 dB below takes 13 dB off the margin. What is significant is a matter of who is named.
    """
    tables = yard.tables(sites)
    clear, kept = (fm_quality(level, arrival, local=local, workers=workers) for local in (tables.clear, tables.stereo))
    of_level = top - yard.counts.usable_dbuvm
    of_clear = clear.snr_local_db - yard.adequate_snr_db
    of_stereo = np.fmin(kept.snr_local_db - yard.adequate_snr_db, of_clear)
    plenty = (of_level >= LEVEL_MARGIN_DB) & (of_stereo >= yard.target_snr_db - yard.adequate_snr_db)
    classes = np.select(
        [of_level < 0, of_clear < 0, plenty, of_stereo >= 0], [TOO_WEAK, UPSET, WITH_MARGIN, JUST_ENOUGH], BLENDED
    )
    return _made(np.fmin(of_level, of_clear), clear.snr_local_db, classes, clear.limiting, None)


def too_weak_below_dbuvm(yard: Yardstick, *, frequency_mhz: float) -> float:
    """Level of the strongest signal below which a place that is not served is `TOO_WEAK`. [dBuV/m]

    FM: what is usable. OFDM: where that signal alone, at its Rice C/N, would serve 70 % of the places around. VSB:
    noise plus the required C/N.
    """
    if yard.carried.kind == "fm":
        return yard.counts.usable_dbuvm
    noise_dbuvm = noise_field_dbuvm(yard.carried, frequency_mhz=frequency_mhz)
    if yard.carried.kind != "ofdm":
        return noise_dbuvm + (yard.carried.required_cn_db or 0.0)
    spare_db = NormalDist().inv_cdf(ACCEPTABLE_PROBABILITY) * yard.spread.sigma_db
    return noise_dbuvm + profile(yard.carried)[0] + spare_db


def _ofdm(
    level: NDArray[np.floating],
    arrival: Doubles,
    yard: Yardstick,
    top: NDArray[np.floating],
    frequency_mhz: float,
    rare: NDArray[np.floating] | None,
    executor: Executor | None,
) -> ServiceQuality:
    """OFDM: by the share of places served with the chosen window strategy, and what "strongest" makes of it."""
    carried = yard.carried
    placings = with_risk(yard.placing)
    found = ofdm_map(
        level,
        arrival,
        carried,
        level_1pct_dbuvm=rare,
        placings=placings,
        frequency_mhz=frequency_mhz,
        sigma_db=yard.spread.sigma_db,
        k_factor=DEFAULT_K_FACTOR,
        executor=executor,
    )
    classes = [
        ofdm_classes(margin_db, share, top, yard, frequency_mhz=frequency_mhz)
        for margin_db, share in zip(found.margins_db, found.shares, strict=True)
    ]
    made = _made(found.margin_db, found.cni_db, classes[0], found.hurting_site, found.shares[0])
    return replace(made, risk_class=classes[-1], risk_probability=found.shares[-1], own_margins_db=found.margins_db)


def ofdm_classes(
    margin_db: Singles, share: Singles, top_dbuvm: NDArray[np.floating], yard: Yardstick, *, frequency_mhz: float
) -> Singles:
    """OFDM: classes of our own sites by the share of places that are served, quick or drawn, shape (M,).

    Parameters
    ----------
    margin_db, share : ndarray
        Of one window strategy. [dB, 1]
    top_dbuvm : ndarray
        Level of the strongest. [dB(uV/m)]
    yard : Yardstick
    frequency_mhz : float
        Carrier. [MHz]
    """
    strong = top_dbuvm >= too_weak_below_dbuvm(yard, frequency_mhz=frequency_mhz)
    served = (share >= ACCEPTABLE_PROBABILITY) & (margin_db >= 0)
    plenty = served & (share >= yard.carried.location_pct / 100.0)
    found = np.select([plenty, served, strong], [WITH_MARGIN, JUST_ENOUGH, UPSET], TOO_WEAK)
    return np.where(np.isnan(margin_db), np.nan, found).astype(np.float32)


def _vsb(
    level: NDArray[np.floating],
    arrival: Doubles,
    yard: Yardstick,
    top: NDArray[np.floating],
    frequency_mhz: float,
    rare: NDArray[np.floating] | None,
) -> ServiceQuality:
    """8-VSB: by the echo mask."""
    margin, hurting = vsb_margins(level, arrival, yard.carried, level_1pct_dbuvm=rare, frequency_mhz=frequency_mhz)
    alone = top - noise_field_dbuvm(yard.carried, frequency_mhz=frequency_mhz) - (yard.carried.required_cn_db or 0.0)
    classes = np.select(
        [margin >= LEVEL_MARGIN_DB, margin >= 0, alone >= 0], [WITH_MARGIN, JUST_ENOUGH, UPSET], TOO_WEAK
    )
    return _made(margin, margin + (yard.carried.required_cn_db or 0.0), classes, hurting, None)


def _made(
    margin: NDArray[np.floating],
    figure: NDArray[np.floating],
    classes: NDArray[np.number],
    limiting: NDArray[np.integer],
    probability: Singles | None,
) -> ServiceQuality:
    """The record, with NaN where nothing is known."""
    unknown = np.isnan(margin)
    return ServiceQuality(
        margin.astype(np.float32),
        figure.astype(np.float32),
        np.where(unknown, np.nan, classes).astype(np.float32),
        np.where(unknown | (limiting < 0), np.nan, limiting).astype(np.float32),
        probability,
    )
