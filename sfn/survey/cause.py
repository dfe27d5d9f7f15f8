"""What a launch error equals: a guess at its cause, from amounts that somebody could have got wrong.

Each known amount is the launch error that one slip would make, positive = later. Many amounts match a vague error
by chance; so the answer also says how many matches chance alone would give.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from sfn.chain import RouteLatency, stage_latency
from sfn.errors import PlanError
from sfn.geodesy.datum import coordinate_system, to_wgs84
from sfn.geodesy.line import inverse, travel_time
from sfn.plan import DelayField, Network, Stage
from sfn.systems.service import service_named
from sfn.timing import DelayRow, DelayTable
from sfn.timing.device import contributes
from sfn.units import exact, unit_length_us

# Two standard uncertainties: an error that is smaller needs no cause, an amount that is smaller explains nothing.
_SIGMAS = 2.0
PILOT_PERIOD_US = 1e6 / 19_000.0
# Sampling rates of audio (AES5): what counts delay in samples slips by one of them.
SAMPLES_HZ = (44_100.0, 48_000.0)
RELEASE_STEPS_US = (100.0, 1000.0)
# Geographic systems in which national maps give positions: a position read in the wrong one is 50 to 600 m off.
NATIONAL_DATUMS = (4230, 4277, 4267, 4301, 4284, 4314, 4275, 4312, 4289, 4313, 4149, 4265, 4202, 4272, 4222, 4209, 4618)
# What a device may have taken a number for.
_UNITS = ("us", "ms", "100ns", "ns", "samples@48000", "samples@192000", "1/16.384MHz")


@dataclass(frozen=True, slots=True)
class Known:
    """Launch error that one slip would make, and how surely that amount is known."""

    what: str
    amount_us: float
    tolerance_us: float = 0.0


@dataclass(frozen=True, slots=True)
class Cause:
    """A slip that would explain a launch error."""

    what: str
    expected_us: float
    left_us: float
    left_sigmas_ratio: float
    chance_ratio: float
    """Chance that an error like this meets this amount by accident, 0 to 1."""


@dataclass(frozen=True, slots=True)
class Guess:
    """Causes, the best first, and the chance, 0 to 1, that one or more would be found by accident."""

    causes: tuple[Cause, ...]
    by_chance_n: float


def causes(error_us: float, *, uncertainty_us: float, known: Sequence[Known]) -> Guess:
    """Slips whose amount equals a launch error within two standard uncertainties.

    Parameters
    ----------
    error_us, uncertainty_us : float
        Launch error, positive = later than planned, and its standard uncertainty. [us]
    known : sequence of Known
        Amounts to compare with.

    Returns
    -------
    Guess
        Empty when the error is not significant. `by_chance_n` is near 0 when the guess means something.

    Notes
    -----
    The window of one amount is ``h = 2 s`` on either side, with ``s^2 = uncertainty^2 + tolerance^2``. An error ``e``
    without a cause could have fallen anywhere between ``-|e| - h`` and ``|e| + h``; what of the window lies between
    those ends makes ``p_k = overlap / (2 (|e| + h))``. That one or more of them are met by accident has the chance
    ``1 - (1 - p_1)(1 - p_2)...``, which never leaves 0 to 1.

    Raises
    ------
    ValueError
        If `uncertainty_us` is negative.

    Examples
    --------
    >>> feeder = Known("feeder of 120 m left out", 0.455)
    >>> [c.what for c in causes(0.46, uncertainty_us=0.02, known=[feeder]).causes]
    ['feeder of 120 m left out']
    """
    if not uncertainty_us >= 0:
        raise ValueError(f"uncertainty_us must be 0 or more us, got {uncertainty_us!r}")
    if abs(error_us) <= _SIGMAS * uncertainty_us:
        return Guess((), 0.0)
    found, missed_ratio = [], 1.0
    for one in known:
        sigma = float(np.hypot(uncertainty_us, one.tolerance_us)) or 1e-6
        if abs(one.amount_us) <= _SIGMAS * sigma:
            continue
        chance = _chance(one.amount_us, half_us=_SIGMAS * sigma, error_us=error_us)
        missed_ratio *= 1.0 - chance
        left = error_us - one.amount_us
        if abs(left) <= _SIGMAS * sigma:
            found.append(Cause(one.what, one.amount_us, left, abs(left) / sigma, chance))
    found.sort(key=lambda c: c.left_sigmas_ratio)
    return Guess(tuple(found), 1.0 - missed_ratio if found else 0.0)


def _chance(amount_us: float, *, half_us: float, error_us: float) -> float:
    """Part of what lies between an error and its negative, and half a window more, that is near an amount."""
    size = abs(error_us) + half_us
    low, high = max(amount_us - half_us, -size), min(amount_us + half_us, size)
    return max(0.0, high - low) / (2.0 * size)


def known_amounts(
    network: Network, table: DelayTable, *, site_id: str, release_steps_us: Sequence[float] = RELEASE_STEPS_US
) -> tuple[Known, ...]:
    """Launch errors that the usual slips at one site would make.

    Parameters
    ----------
    network : Network
    table : DelayTable
        Of the same network.
    site_id : str
    release_steps_us : sequence of float
        Steps in which release delays are set; whole and tenths of a millisecond where nobody knows better. [us]

    Returns
    -------
    tuple of Known
        Feeders and fibres left out or counted twice, offset with the wrong sign or not applied, the other route's
        latency, the old setting, single fields not set, steps of fields and of release, units confused, one sample.

    Raises
    ------
    StopIteration
        If there is no such site with a main route.
    """
    row = table.row(site_id)
    site = next(s for s in network.sites if s.id == site_id)
    found = [*_lengths(row.own, network), *_offset(row), *_other_routes(table, row)]
    found += _settings(row, site.delay_fields)
    for field, setting in zip(site.delay_fields, row.fields, strict=False):
        found += _field(field, value=setting.value)
    found += [
        Known(f"one release-delay step of {stage.id!r}, {step_us:g} us, {word}", sign * step_us)
        for stage in row.own.stages
        if stage.kind == "time-stamped section"
        for step_us in release_steps_us
        for sign, word in ((1, "too late"), (-1, "too early"))
    ]
    found += [
        Known(f"one sample of {rate_hz / 1000:g} kHz, {word}", sign * 1e6 / rate_hz)
        for rate_hz in SAMPLES_HZ
        for sign, word in ((1, "too late"), (-1, "too early"))
    ]
    if service_named(network.service, own_services=network.own_services).startswith("fm"):
        found += [
            Known(f"a whole period of the 19 kHz pilot, {word}", sign * PILOT_PERIOD_US)
            for sign, word in ((1, "too late"), (-1, "too early"))
        ]
    return tuple(k for k in found if k.amount_us != 0.0)


def _lengths(own: RouteLatency, network: Network) -> Iterable[Known]:
    """Feeders and fibres: missing in the plan's sum, counted twice, taken at the speed of light."""
    for stage in own.stages:
        if stage.kind not in ("feeder", "fibre", "filter", "microwave"):
            continue
        latency = float(stage_latency(stage, refractivity_n=network.refractivity_n))
        name = _name(stage)
        yield Known(f"{name}: there, but not counted", latency, stage.tolerance_us or 0.0)
        yield Known(f"{name}: counted, but not there, or counted twice", -latency, stage.tolerance_us or 0.0)
        if stage.velocity_factor is not None:
            share = 1.0 - stage.velocity_factor
            yield Known(f"{name}: counted without its velocity factor", latency * share)


def _name(stage: Stage) -> str:
    """A stage in words."""
    length = f" of {stage.length_m:g} m" if stage.length_m is not None else ""
    return f"{stage.kind}{length} {stage.id!r}"


def _offset(row: DelayRow) -> Iterable[Known]:
    """The timing offset: wrong sign, not applied, applied twice."""
    yield Known("offset set with the wrong sign", -2.0 * row.offset_us)
    yield Known("offset not set", -row.offset_us)
    yield Known("offset set twice", row.offset_us)


def _other_routes(table: DelayTable, row: DelayRow) -> Iterable[Known]:
    """The latency of another route with this one's setting."""
    for other in table.rows:
        if other.site_id == row.site_id and other.route != row.route:
            difference = float(other.own.exact_us - row.own.exact_us)
            tolerance = float(np.hypot(other.rss_us, row.rss_us))
            yield Known(f"the {other.route} chain on air with the {row.route} chain's setting", difference, tolerance)


def _settings(row: DelayRow, fields: Sequence[DelayField]) -> Iterable[Known]:
    """Old setting instead of the new one, whole or in one field only."""
    if row.change_us is not None:
        yield Known("the old setting instead of the new one", -row.change_us)
    if len(row.fields) > 1:
        for field, setting in zip(fields, row.fields, strict=True):
            if setting.before is not None:
                old_us = float(contributes(field, setting.before))
                yield Known(f"{field.name}: still at the old value", old_us - setting.set_us)


def _field(field: DelayField, *, value: float) -> Iterable[Known]:
    """One field: a step off, its insertion delay forgotten, its number taken in another unit or with the other sign."""
    unit = float(unit_length_us(field.unit))
    sign = 1.0 if field.sign == "later" else -1.0
    step = field.step * unit
    for way, word in ((1.0, "too late"), (-1.0, "too early")):
        yield Known(f"{field.name}: one step of {step:g} us {word}", way * step)
    yield Known(f"{field.name}: insertion delay not counted", field.insertion_us)
    yield Known(f"{field.name}: insertion delay counted twice", -field.insertion_us)
    yield Known(f"{field.name}: sign turned", -2.0 * sign * value * unit)
    for other in _UNITS:
        length = float(unit_length_us(other))
        if exact(length) != exact(unit):
            yield Known(f"{field.name}: {value:g} {field.unit} taken as {other}", sign * value * (length - unit))


def datum_amounts(
    lat_deg: float, lon_deg: float, *, at_lat_deg: ArrayLike, at_lon_deg: ArrayLike, refractivity_n: float
) -> tuple[Known, ...]:
    """Launch errors that a site seems to have when its position was read in the wrong datum.

    Parameters
    ----------
    lat_deg, lon_deg : float
        Where the plan has the site, WGS84. [degrees]
    at_lat_deg, at_lon_deg : array_like (M,)
        Where it was measured; a displaced site is nearer to some points and farther from others. [degrees]
    refractivity_n : float
        [N-units]

    Returns
    -------
    tuple of Known
        For each national datum that is used there: mean over the points, with the spread between them as tolerance.
    """
    at_lat, at_lon = np.asarray(at_lat_deg, dtype=np.float64), np.asarray(at_lon_deg, dtype=np.float64)
    planned_m, _, _ = inverse(lat_deg, lon_deg, at_lat, at_lon)
    found = []
    for code in NATIONAL_DATUMS:
        # A datum's shift changes by a metre at most over a tenth of a degree; working it out is slow.
        shift = _shift(code, round(lat_deg, 1), round(lon_deg, 1))
        if shift is None or shift.length_m < 5.0:
            continue
        north_deg, east_deg = shift.north_deg, shift.east_deg
        for sign, words in ((1.0, "is in {0}, taken as WGS 84"), (-1.0, "is in WGS 84, taken as {0}")):
            true_m, _, _ = inverse(lat_deg + sign * north_deg, lon_deg + sign * east_deg, at_lat, at_lon)
            late = travel_time(true_m, refractivity_n=refractivity_n) - travel_time(
                planned_m, refractivity_n=refractivity_n
            )
            what = f"its position {words.format(shift.datum)} ({shift.length_m:.0f} m)"
            found.append(Known(what, float(np.mean(late)), float(np.std(late))))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Shift:
    """How far a datum's coordinates lie from WGS84."""

    datum: str
    north_deg: float
    east_deg: float
    length_m: float


@lru_cache(maxsize=1024)
def _shift(code: int, lat_deg: float, lon_deg: float) -> _Shift | None:
    """The shift of a datum at a place, None where it is not used."""
    area = coordinate_system(code).area_of_use
    if area is None or not area.south <= lat_deg <= area.north:
        return None
    past_west, past_east = lon_deg >= area.west, lon_deg <= area.east
    if not (past_west and past_east if area.west <= area.east else past_west or past_east):
        return None
    try:
        found = to_wgs84(code, lon_deg, lat_deg)
    except PlanError:
        return None
    return _Shift(found.datum, found.lat_deg - lat_deg, found.lon_deg - lon_deg, found.datum_shift_m)
