"""Quality by drawn shares: levels drawn, receivers following, other programmes' stations drawn with ours.

`sfn.reception.quality` has the quick estimate of the same, which follows a slider. Classes of both are made by the same
rules out of shares and margins; the margin stays that of the median levels.
"""

from concurrent.futures import Executor
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sfn.reception.beside import Beside
from sfn.reception.classes import BLENDED, JUST_ENOUGH, TOO_WEAK, UPSET, WITH_MARGIN, is_served
from sfn.reception.drawn import Drawn, Strangers, drawn_beside
from sfn.reception.fm_sets import FmSets
from sfn.reception.quality import (
    ACCEPTABLE_PROBABILITY,
    LEVEL_MARGIN_DB,
    ServiceQuality,
    Yardstick,
    beside_classes,
    ofdm_classes,
)
from sfn.reception.significance import limiting
from sfn.systems.fm_listeners import Shares
from sfn.systems.ofdm_map import with_risk
from sfn.systems.ofdm_window import Placing

Doubles = NDArray[np.float64]
Singles = NDArray[np.float32]
Flags = NDArray[np.bool_]

# What the quick estimate may be off by: OFDM's share of places (0.148 on the DAB demo by an auditor's own draws), FM's
# margin over being clear (two signals 0.4 dB, three to six 1.5 dB rms, see DEVELOPERS.md; doubled here).
QUICK_SHARE_OFF = 0.15
QUICK_MARGIN_OFF_DB = 3.0


def drawn_share(
    level_dbuvm: NDArray[np.floating],
    arrival_us: Doubles,
    yard: Yardstick,
    *,
    frequency_mhz: float,
    bearing_deg: NDArray[np.floating],
    masts: NDArray[np.int64],
    level_1pct_dbuvm: NDArray[np.floating] | None = None,
    strangers: Strangers | None = None,
    correlated: bool = True,
    placing: Placing | None = None,
    executor: Executor | None = None,
) -> Drawn | None:
    """Share of places around each point that are served, levels drawn and windows placed anew; None but for OFDM.

    Parameters
    ----------
    level_dbuvm, arrival_us, level_1pct_dbuvm, frequency_mhz, executor
        As for `service_quality`.
    yard : Yardstick
    bearing_deg : ndarray, shape (S, M)
        From the places to the sites. [degrees]
    masts : ndarray, shape (S,)
        From `sfn.reception.aimed.masts_of`.
    strangers : Strangers, optional
        Transmitters of other programmes, from `sfn.reception.others.Needed`.
    correlated : bool
        False: as if no two sites' levels varied together.
    placing : Placing, optional
        How receivers place their window; as `yard` says where not given.
    """
    if yard.carried.kind != "ofdm" or not level_dbuvm.shape[0]:
        return None
    return drawn_beside(
        level_dbuvm,
        arrival_us,
        yard.carried,
        placing=yard.placing if placing is None else placing,
        spread=yard.spread,
        bearing_deg=bearing_deg if correlated else None,
        masts=masts,
        level_1pct_dbuvm=level_1pct_dbuvm,
        frequency_mhz=frequency_mhz,
        strangers=strangers,
        executor=executor,
    )


def by_drawn_shares(
    quick: ServiceQuality,
    level_dbuvm: NDArray[np.floating],
    arrival_us: Doubles,
    yard: Yardstick,
    drawn: Drawn,
    risk: Drawn | None = None,
    *,
    frequency_mhz: float,
    other: Beside | None = None,
) -> ServiceQuality:
    """OFDM: the quality with shares and classes as drawn.

    Parameters
    ----------
    quick : ServiceQuality
        Of the same places.
    level_dbuvm, arrival_us : ndarray, shape (S, M)
        [dB(uV/m), us]
    yard : Yardstick
    drawn, risk : Drawn
        Of the chosen strategy and of "strongest"; without `risk` that one is the same.
    frequency_mhz : float
        Carrier. [MHz]
    other : Beside, optional
        As for `service_quality`.
    """
    if quick.own_margins_db is None:
        return quick
    top = np.fmax.reduce(level_dbuvm, axis=0)
    made = []
    for margin_db, one in zip(quick.own_margins_db, (drawn, risk or drawn), strict=False):
        classes = ofdm_classes(margin_db, one.own, top, yard, frequency_mhz=frequency_mhz)
        if other is not None:
            spare = (top - other.level_dbuvm).astype(np.float32)
            classes = beside_classes(classes, one.own, quick.margin_db, spare, other, yard, one.share)
        made.append((classes, one.share))
    (classes, share), (risk_classes, risk_share) = made[0], made[-1]
    made_anew = replace(quick, probability=share, risk_class=risk_classes, risk_probability=risk_share)
    return _classed(made_anew, classes, level_dbuvm, arrival_us, yard)


def _classed(
    quick: ServiceQuality, classes: Singles, level_dbuvm: NDArray[np.floating], arrival_us: Doubles, yard: Yardstick
) -> ServiceQuality:
    """The quality with other classes, and whom these name as hurting."""
    if quick.taking is None:
        return replace(quick, quality_class=classes)
    said = limiting(quick.taking, classes, level_dbuvm, arrival_us, yard.counts)
    return replace(quick, quality_class=classes, limiting=said)


def risk_of(placing: Placing) -> Placing | None:
    """The strategy that is the receiver's risk; None where it is the chosen one."""
    both = with_risk(placing)
    return both[1] if len(both) > 1 else None


def by_listeners(
    quick: ServiceQuality,
    level_dbuvm: NDArray[np.floating],
    arrival_us: Doubles,
    yard: Yardstick,
    shares: Shares,
    *,
    other: Beside | None = None,
) -> ServiceQuality:
    """FM: the quality with classes by shares of listeners as drawn; arguments as for `by_drawn_shares`.

    Which of two causes a place is lost by goes by the margins, as in the quick estimate.
    """
    top = np.fmax.reduce(level_dbuvm, axis=0)
    sets = yard.sets or FmSets()
    ratio, of_level = sets.served_ratio, top - yard.counts.usable_dbuvm
    clear = shares.clear_stereo + shares.clear_mono
    stereo = shares.clear_stereo if sets.stereo else clear
    enough = stereo >= ratio
    plenty = enough & (of_level >= LEVEL_MARGIN_DB) & (shares.good >= ratio)
    codes = np.select(
        [~(of_level >= 0), plenty, enough, clear >= ratio], [TOO_WEAK, WITH_MARGIN, JUST_ENOUGH, BLENDED], UPSET
    )
    classes = np.where(np.isnan(quick.quality_class), np.nan, codes).astype(np.float32)
    if other is not None:
        spare = (top - other.level_dbuvm).astype(np.float32)
        classes = beside_classes(classes, None, quick.margin_db, spare, other, yard)
    return _classed(quick, classes, level_dbuvm, arrival_us, yard)


def may_be_served(quick: ServiceQuality, yard: Yardstick) -> tuple[Flags, Flags]:
    """Where the quick estimate leaves no doubt that a place is served, and where it leaves hope; shape (M,).

    OFDM: served with a share 0.15 lower, and higher; FM: with 3 dB less over being clear, and more.
    """
    classes = quick.quality_class
    served = is_served(classes)
    if quick.probability is not None:
        share = quick.probability
        strong = np.isfinite(classes) & (quick.margin_db >= 0)
        return (
            np.asarray(served & (share >= ACCEPTABLE_PROBABILITY + QUICK_SHARE_OFF)),
            np.asarray(served | (strong & (share >= ACCEPTABLE_PROBABILITY - QUICK_SHARE_OFF))),
        )
    if yard.carried.kind != "fm":
        return served, served
    clear_db = quick.figure_db - yard.adequate_snr_db
    hope = (classes == UPSET) & (clear_db >= -QUICK_MARGIN_OFF_DB)
    return np.asarray(served & (clear_db >= QUICK_MARGIN_OFF_DB)), np.asarray(served | hope)
