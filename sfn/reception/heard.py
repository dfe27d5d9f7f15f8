"""FM listeners around a place: which share hears what, with what the lock sheets let differ."""

from dataclasses import dataclass
from math import hypot

import numpy as np
from numpy.typing import NDArray

from sfn.plan import Network
from sfn.plan.document import LockSheet
from sfn.reception.quality import Yardstick
from sfn.systems.fm import IMPLEMENTATION_MARGIN_DB
from sfn.systems.fm_listeners import LEAST_CARRIER_HZ, LISTENER_SPREAD_DB, Blend, Errors, Shares, listener_shares

PEOPLE_CLASSES = (
    "clear stereo",
    "clear, partly or wholly mono",
    "distorted by our own transmitters",
    "disturbed by another station",
    "signal too weak",
)
ROOF_FROM_M = 5.0  # a receiving antenna this high belongs to a set that stands still
POINT_LEVEL_SETS_N, POINT_PHASES_N = 128, 16
MAP_LEVEL_SETS_N, MAP_PHASES_N = 16, 8  # shares within 0.04 of those of a point


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
    def served(self) -> bool:
        """Whether enough listeners hear it clear, and the signal is strong enough."""
        return self.people_class in PEOPLE_CLASSES[:2]


def blend_of(network: Network) -> Blend:
    """Whose sets listen and how they blend: as the document says, by the receiving antenna otherwise."""
    receiver, own = network.receiver, network.receiver.blend
    if receiver.antenna == "roof" or (receiver.height_m >= ROOF_FROM_M and receiver.indoors is None):
        usual = "hi-fi"
    else:
        usual = "portable" if receiver.indoors is not None else "car"
    if own is None:
        return Blend(usual)
    share = None if own.blending_pct is None else own.blending_pct / 100.0
    return Blend(own.listeners or usual, own.full_db, own.none_db, own.down_s, own.up_s, blending_ratio=share)


def errors_of(network: Network, sites: list[str]) -> dict[tuple[int, int], Errors]:
    """What each two sites may differ by besides the delay, by their places in a list; pairs that agree are left out.

    Deviations differ by what the lock sheets say, and by what each may be off (root of the sum of squares); pilots by
    the difference of their phases; carriers by the root of the sum of squares of their errors.
    """
    locks = {site.id: site.lock for site in network.sites}
    found = {}
    for i, a in enumerate(sites):
        for j in range(i + 1, len(sites)):
            errors = _between(locks[a], locks[sites[j]])
            if errors != Errors():
                found[i, j] = errors
    return found


def _between(a: LockSheet | None, b: LockSheet | None) -> Errors:
    """What two lock sheets let differ."""
    a, b = a or LockSheet(), b or LockSheet()
    apart = a.deviation_khz / b.deviation_khz - 1.0 if a.deviation_khz and b.deviation_khz else 0.0
    match = hypot(a.deviation_match_pct or 0.0, b.deviation_match_pct or 0.0) / 100.0
    pilot = 0.0
    if a.pilot_phase_deg is not None and b.pilot_phase_deg is not None:
        pilot = abs((a.pilot_phase_deg - b.pilot_phase_deg + 180.0) % 360.0 - 180.0)
    carrier = hypot(a.carrier_error_hz or 0.0, b.carrier_error_hz or 0.0)
    return Errors(round(hypot(apart, match), 6), round(pilot, 3), round(carrier, 3))


def heard(
    network: Network,
    yard: Yardstick,
    level_dbuvm: NDArray[np.floating],
    arrival_us: NDArray[np.float64],
    sites: list[str],
) -> Heard | None:
    """What listeners around one place hear; None but for FM.

    Parameters
    ----------
    network : Network
    yard : Yardstick
    level_dbuvm, arrival_us : ndarray, shape (S, 1)
        [dBuV/m, us]
    sites : list of str
        Their ids.
    """
    if yard.carried.kind != "fm":
        return None
    blend, shares, says, of_time, ratio = _drawn(
        network, yard, level_dbuvm, arrival_us, sites, POINT_LEVEL_SETS_N, POINT_PHASES_N, workers=1
    )
    strong = np.nanmax(level_dbuvm, axis=0) >= yard.counts.usable_dbuvm
    return Heard(
        shares,
        served_ratio=ratio,
        of="time" if of_time else "places",
        people_class=PEOPLE_CLASSES[int(_class(shares, ratio, strong)[0])],
        blend=blend,
        target_db=yard.adequate_snr_db,
        spread_db=LISTENER_SPREAD_DB,
        says=says,
    )


@dataclass(frozen=True, slots=True)
class HeardAreas:
    """Area and people in each of `PEOPLE_CLASSES`; people None: not known. `of` and `served_ratio` as in `Heard`."""

    area_km2: tuple[float, ...]
    people: tuple[float, ...] | None
    listeners: str
    of: str
    served_ratio: float
    says: tuple[str, ...]


def heard_areas(
    network: Network,
    yard: Yardstick,
    level_dbuvm: NDArray[np.floating],
    arrival_us: NDArray[np.float64],
    sites: list[str],
    *,
    area_km2: NDArray[np.float64],
    people: NDArray[np.float64] | None,
) -> HeardAreas | None:
    """What listeners hear over a map; None but for FM.

    Parameters
    ----------
    network, yard, level_dbuvm, arrival_us, sites
        As for `heard`, arrays (S, M).
    area_km2, people : ndarray, shape (M,)
        Of each pixel; people None where they are not known.
    """
    if yard.carried.kind != "fm" or not level_dbuvm.shape[0]:
        return None
    blend, shares, says, of_time, ratio = _drawn(
        network, yard, level_dbuvm, arrival_us, sites, MAP_LEVEL_SETS_N, MAP_PHASES_N, workers=2
    )
    strong = np.fmax.reduce(level_dbuvm, axis=0) >= yard.counts.usable_dbuvm
    classes = _class(shares, ratio, strong)
    masks = [classes == number for number in range(len(PEOPLE_CLASSES))]
    return HeardAreas(
        tuple(float(area_km2[mask].sum()) for mask in masks),
        None if people is None else tuple(float(people[mask].sum()) for mask in masks),
        blend.listeners,
        "time" if of_time else "places",
        ratio,
        says,
    )


def _drawn(
    network: Network,
    yard: Yardstick,
    level_dbuvm: NDArray[np.floating],
    arrival_us: NDArray[np.float64],
    sites: list[str],
    level_sets_n: int,
    phases_n: int,
    *,
    workers: int,
) -> tuple[Blend, Shares, tuple[str, ...], bool, float]:
    """Whose sets, their shares, what these rest on, whether they are of time, and the share that serves a place."""
    blend, stereo = blend_of(network), yard.carried.id != "fm-mono"
    own = network.thresholds.implementation_margin_db
    usual = (IMPLEMENTATION_MARGIN_DB["stereo"], IMPLEMENTATION_MARGIN_DB["mono"])
    errors = errors_of(network, sites)
    shares = listener_shares(
        level_dbuvm,
        arrival_us,
        programme=yard.programme,
        blend=blend,
        target_db=yard.adequate_snr_db,
        better_db=yard.target_snr_db,
        stereo=stereo,
        margin_db=usual if own is None else (own, own),
        significant_db=yard.counts.significant_db,
        errors=errors,
        level_sets_n=level_sets_n,
        phases_n=phases_n,
        workers=workers,
    )
    beats = max((each.carrier_hz for each in errors.values()), default=0.0) >= LEAST_CARRIER_HZ
    of_time = blend.listeners == "car" or beats
    ratio = Blend("car").served_ratio if of_time else blend.served_ratio
    return blend, shares, _says(network, errors, beats=beats), of_time, ratio


def _class(shares: Shares, ratio: float, strong: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Places in `PEOPLE_CLASSES`, -1 without a signal; other stations are not counted."""
    clear = shares.clear_stereo + shares.clear_mono
    found = np.select([~strong, shares.clear_stereo >= ratio, clear >= ratio], [4, 0, 1], 2)
    return np.where(np.isnan(clear), -1, found)


def _says(network: Network, errors: dict[tuple[int, int], Errors], *, beats: bool) -> tuple[str, ...]:
    """What the shares rest on, a sentence each."""
    made = ["stations with other programmes are not counted"]
    if not any(site.lock is not None for site in network.sites):
        made.append("deviations, pilots and carriers are taken to agree: no lock sheet says otherwise")
    elif errors:
        most = [max(getattr(each, name) for each in errors.values()) for name in Errors.__dataclass_fields__]
        made.append(
            f"lock sheets let two sites differ by up to {100 * most[0]:.2g} % of deviation, "
            f"{most[1]:.3g} degrees of pilot and {most[2]:.3g} Hz of carrier"
        )
    if beats:
        made.append("carriers beat: every phase passes every listener, shares are of time")
    return tuple(made)
