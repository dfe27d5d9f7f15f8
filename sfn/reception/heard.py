"""FM listeners around a place: which share hears what, with what the lock sheets let differ."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sfn.plan import Network
from sfn.reception.beside import Beside
from sfn.reception.classes import BLENDED, JUST_ENOUGH, OTHER_STATION, TOO_WEAK, UPSET, WITH_MARGIN
from sfn.reception.fm_sets import FmSets
from sfn.reception.quality import Yardstick
from sfn.systems.fm_listeners import LISTENER_SPREAD_DB, Blend, Errors, Shares, listener_shares

PEOPLE_CLASSES = (
    "clear stereo",
    "clear, partly or wholly mono",
    "distorted by our own transmitters",
    "disturbed by another station",
    "signal too weak",
)
# The codes of `sfn.reception.classes` that each of them is made of.
PEOPLE_CODES = ((WITH_MARGIN, JUST_ENOUGH), (BLENDED,), (UPSET,), (OTHER_STATION,), (TOO_WEAK,))
OTHERS_UNCOUNTED = "stations with other programmes are not counted"
OTHER_DISTURBS = (
    "another station disturbs here: nobody counts as hearing it clear; the share distorted is of our own transmitters, "
    "the rest is the other station's"
)
MAP_LEVEL_SETS_N, MAP_PHASES_N = (
    64,
    8,
)  # on the ridge demo 1.6 % of the area apart from the quick classes, 16 by 8: 3.3 %


@dataclass(frozen=True, slots=True)
class Heard:
    """What listeners around one place hear; `shares` are of that one place, `share` gives one of them.

    `served_ratio` is the share from which the place is served; `of` says whether shares are of places or of time;
    `people_class` is one of `PEOPLE_CLASSES`; `says` tells what the shares rest on.
    """

    shares: Shares
    served_ratio: float
    of: str
    people_class: str
    blend: Blend
    target_db: float
    spread_db: float
    says: tuple[str, ...]

    def share(self, name: str) -> float:
        """A share of receivers, 0 to 1, by its name in `sfn.systems.fm_listeners.Shares`."""
        return float(getattr(self.shares, name)[0])

    @property
    def disturbed(self) -> float:
        """The share that is another station's: not clear, and not distorted by our own; 0 where none disturbs."""
        rest = 1.0 - sum(self.share(name) for name in ("clear_stereo", "clear_mono", "upset"))
        return rest if rest > 1e-9 and OTHER_DISTURBS in self.says else 0.0

    @property
    def served(self) -> bool:
        """Whether enough listeners hear it clear, and the signal is strong enough."""
        return self.people_class in PEOPLE_CLASSES[:2]


def heard(
    network: Network,
    yard: Yardstick,
    shares: Shares,
    code: float,
    level_dbuvm: NDArray[np.floating],
    *,
    other: Beside | None = None,
) -> Heard:
    """What listeners around one place hear, in words and figures.

    Parameters
    ----------
    network : Network
    yard : Yardstick
    shares : Shares
        Of that place alone, from `map_sharing`.
    code : float
        Its class, by these shares.
    level_dbuvm : ndarray, shape (S, 1)
        [dBuV/m]
    other : Beside, optional
        As in `sfn.reception.quality.service_quality`.
    """
    sets = yard.sets or FmSets()
    disturbed = under_others(level_dbuvm, None if other is None else other.level_dbuvm)
    return Heard(
        shares.beside(disturbed),
        served_ratio=sets.served_ratio,
        of="time" if sets.of_time else "places",
        people_class=next(
            (PEOPLE_CLASSES[k] for k, codes in enumerate(PEOPLE_CODES) if code in codes), PEOPLE_CLASSES[-1]
        ),
        blend=sets.blend,
        target_db=yard.adequate_snr_db,
        spread_db=LISTENER_SPREAD_DB,
        says=(*((OTHER_DISTURBS,) if disturbed[0] else ()), *_says(network, sets)),
    )


@dataclass(frozen=True, slots=True)
class HeardAreas:
    """Area and people in each of `PEOPLE_CLASSES`; people None: not known. `of` and `served_ratio` as in `Heard`.

    `clear_ratio` is the share of listeners with clear reception at each place, shape (M,); NaN where nothing is known.
    """

    area_km2: tuple[float, ...]
    people: tuple[float, ...] | None
    listeners: str
    of: str
    served_ratio: float
    says: tuple[str, ...]
    clear_ratio: NDArray[np.float32]


def map_sharing(
    yard: Yardstick,
    level_dbuvm: NDArray[np.floating],
    arrival_us: NDArray[np.float64],
    sites: Sequence[str],
    *,
    workers: int = 2,
) -> Shares:
    """Shares of a network's listeners at places of a map or at a point, levels and phases drawn; arrays (S, M)."""
    return listener_sharing(yard, level_dbuvm, arrival_us, sites, MAP_LEVEL_SETS_N, MAP_PHASES_N, workers=workers)


def heard_areas(
    network: Network,
    yard: Yardstick,
    shares: Shares,
    quality_class: NDArray[np.floating],
    *,
    area_km2: NDArray[np.float64],
    people: NDArray[np.float64] | None,
) -> HeardAreas:
    """What listeners hear over a map.

    Parameters
    ----------
    network : Network
    yard : Yardstick
    shares : Shares
        From `map_sharing`.
    quality_class : ndarray, shape (M,)
        Classes that go by them: from `sfn.reception.drawn_quality.by_listeners`.
    area_km2, people : ndarray, shape (M,)
        Of each pixel; people None where they are not known.
    """
    sets = yard.sets or FmSets()
    masks = [np.isin(quality_class, codes) for codes in PEOPLE_CODES]
    clear = np.where(quality_class == OTHER_STATION, 0.0, shares.clear_stereo + shares.clear_mono)
    return HeardAreas(
        tuple(float(area_km2[mask].sum()) for mask in masks),
        None if people is None else tuple(float(people[mask].sum()) for mask in masks),
        sets.blend.listeners,
        "time" if sets.of_time else "places",
        sets.served_ratio,
        _says(network, sets),
        clear.astype(np.float32),
    )


def listener_sharing(
    yard: Yardstick,
    level_dbuvm: NDArray[np.floating],
    arrival_us: NDArray[np.float64],
    sites: Sequence[str],
    level_sets_n: int,
    phases_n: int,
    *,
    workers: int,
) -> Shares:
    """Shares of a network's listeners at places (S, M); only where `yard` has `sets`."""
    sets = yard.sets or FmSets()
    return listener_shares(
        level_dbuvm,
        arrival_us,
        programme=yard.programme,
        blend=sets.blend,
        target_db=yard.adequate_snr_db,
        better_db=yard.target_snr_db,
        stereo=sets.stereo,
        margin_db=sets.margin_db,
        errors=sets.errors_of(sites),
        level_sets_n=level_sets_n,
        phases_n=phases_n,
        workers=workers,
    )


def under_others(level_dbuvm: NDArray[np.floating], other_dbuvm: NDArray[np.floating] | None) -> NDArray[np.bool_]:
    """Places where our strongest signal does not reach what it must beside stations with other programmes."""
    top = np.fmax.reduce(level_dbuvm, axis=0)
    return np.zeros(top.shape, bool) if other_dbuvm is None else np.asarray(top < other_dbuvm)


def _says(network: Network, sets: FmSets) -> tuple[str, ...]:
    """What the shares rest on, a sentence each."""
    made = [OTHERS_UNCOUNTED] if not network.other_transmitters else []
    if not any(site.lock is not None for site in network.sites):
        made.append("deviations, pilots and carriers are taken to agree: no lock sheet says otherwise")
    elif sets.errors:
        errors = sets.errors.values()
        most = [max(getattr(each, name) for each in errors) for name in Errors.__dataclass_fields__]
        rounded = ", each rounded up to the next half octave" if sets.rounded else ""
        made.append(
            f"lock sheets let two sites differ by up to {100 * most[0]:.2g} % of deviation, "
            f"{most[1]:.3g} degrees of pilot and {most[2]:.3g} Hz of carrier{rounded}"
        )
    if sets.beats:
        made.append("carriers beat: every phase passes every listener, shares are of time")
    return tuple(made)
