"""Clocks of a network's sites without their reference: time to the tolerance, alone and in pairs, and alarms."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from itertools import combinations
from math import isinf
from typing import TypeVar

from sfn.clock.holdover import Alarm, Clock, alarms, left_out, pair_time_to_limit, time_to_limit
from sfn.clock.oscillator import oscillators
from sfn.clock.reference import Receiver
from sfn.errors import PlanError, Problem, Touch
from sfn.plan import Network, Site
from sfn.stream.planned import key_of
from sfn.systems.of_network import service_of

LOCKED_US = 0.1
LOCKED, OWN = "locked", "own"
ASSUMED = "ocxo"  # until somebody says otherwise, and the page says so
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class AskedClocks:
    """What is said of the sites' clocks and of what surrounds them.

    Parameters
    ----------
    kinds : mapping of site id to str
        One of `kinds` each; `ASSUMED` where a site is not named.
    limit_us : float or None
        Error to reach; None: the service's tolerance. [us]
    step_degc, swing_degc : float
        Away from where a clock was disciplined; day and night, each way from the mean. [degrees C]
    reaction_h : float
        Until somebody gets there. [h]
    locked_us : float
        Error of a site that keeps its reference. [us]
    own_frequency_offset_ratio, own_ageing_per_day, own_temperature_per_degc : float
        A clock by its data sheet, relative: after disciplining, in a day, for a degree.
    cable_m : float or None
        Antenna cable of a timing receiver; None: not asked. [m]
    velocity_factor : float
        Of that cable.
    entered_ns : float
        Compensation entered in the receiver. [ns]
    """

    kinds: Mapping[str, str] = field(default_factory=dict)
    limit_us: float | None = None
    step_degc: float = 5.0
    swing_degc: float = 5.0
    reaction_h: float = 2.0
    locked_us: float = LOCKED_US
    own_frequency_offset_ratio: float = 1e-10
    own_ageing_per_day: float = 5e-10
    own_temperature_per_degc: float = 1e-10
    cable_m: float | None = None
    velocity_factor: float = 0.83
    entered_ns: float = 0.0


@dataclass(frozen=True, slots=True)
class SiteClock:
    """One site's clock.

    `time_to_limit_h` is infinite for never, and the clock's alone where `times_launch` is false: see `timed_by_clock`.
    """

    site_id: str
    site_name: str
    kind: str
    clock: Clock
    time_to_limit_h: float
    alarms: tuple[Alarm, ...]
    left_out: tuple[str, ...] = ()
    """Terms that count for nothing because their figure is 0."""
    times_launch: bool = True


@dataclass(frozen=True, slots=True)
class PairClock:
    """Two sites out of step: by worst case, and if their errors are independent; infinite for never.

    A site whose launch no clock times stays where it is, so its clock counts for nothing here.
    """

    a_name: str
    b_name: str
    time_to_limit_h: float
    rss_time_to_limit_h: float


@dataclass(frozen=True, slots=True)
class Clocks:
    """All sites on air that keep time themselves."""

    limit_us: float
    limit_name: str
    sites: tuple[SiteClock, ...]
    pairs: tuple[PairClock, ...]
    cable_error_us: float | None


def kinds() -> tuple[tuple[str, str], ...]:
    """What a site may have: value and words, classes from the least to the most stable."""
    found = tuple((key, f"{kind.name} ({key})") for key, kind in oscillators().items())
    return (*found, (OWN, "by its data sheet, figures below"), (LOCKED, "keeps its reference"))


def with_clock(network: Network) -> tuple[Site, ...]:
    """Sites that keep time themselves: one fed off air follows its parent's clock, whatever it has."""
    return tuple(site for site in network.sites if site.fed_off_air_from is None)


def timed_by_clock(network: Network) -> frozenset[str]:
    """Ids of sites whose launch hangs on their own clock: one of their routes holds a time-stamped section."""
    stamped = {stage.id for stage in network.stages if stage.kind == "time-stamped section"}
    return frozenset(s.id for s in network.sites if any(not stamped.isdisjoint(chain.stages) for chain in s.chains))


def clocks(network: Network, asked: AskedClocks) -> Clocks:
    """Time that each site and each pair stays within a limit.

    Parameters
    ----------
    network : Network
    asked : AskedClocks

    Raises
    ------
    PlanError
        With every problem at its key; a site's kind of clock is ``clock-SITE``.
    """
    problems: list[Problem] = []
    carried = service_of(network)
    limit_us = carried.tolerance_us if asked.limit_us is None else asked.limit_us
    if not limit_us > 0:
        problems.append(_out_of_range("limit_us", limit_us, "above 0 us"))
    if not 0 <= asked.reaction_h <= 1000:
        problems.append(_out_of_range("reaction_h", asked.reaction_h, "0 to 1000 h"))
    made = _made(asked, problems)
    cable_error_us = _cable_error_us(asked, problems)
    kind_of = {site.id: asked.kinds.get(site.id, ASSUMED) for site in with_clock(network)}
    for site_id, kind in kind_of.items():
        if kind not in made:
            problems.append(
                Problem(
                    f"clock-{site_id}",
                    "is not a kind of clock",
                    f"one of {', '.join(made)}",
                    code="unknown-clock",
                    touches=(Touch(site_id),),
                    fields=(f"clock-{site_id}",),
                )
            )
    if problems:
        raise PlanError(problems)

    # Sites share few kinds of clocks, and large networks have many sites and pairs.
    @cache
    def alone(kind: str) -> tuple[Clock, float, tuple[Alarm, ...], tuple[str, ...]]:
        """A clock, how long it holds, when to leave, and what counts for nothing."""
        clock = made[kind]
        warned = alarms(clock, limit_us=limit_us, reaction_h=asked.reaction_h)
        return clock, time_to_limit(clock, limit_us=limit_us), warned, () if kind == LOCKED else left_out(clock)

    timed = timed_by_clock(network)
    sites = tuple(
        SiteClock(site.id, site.name, kind_of[site.id], *alone(kind_of[site.id]), times_launch=site.id in timed)
        for site in with_clock(network)
        if site.on_air
    )

    @cache
    def together(a: str | None, b: str | None) -> tuple[float, float]:
        """At worst and independent; None: no clock times the launch."""
        one, other = (Clock() if kind is None else made[kind] for kind in (a, b))
        at_worst = pair_time_to_limit(one, other, limit_us=limit_us)
        return at_worst, pair_time_to_limit(one, other, limit_us=limit_us, worst_case=False)

    drifts = {site.site_id: site.kind if site.times_launch else None for site in sites}
    pairs = tuple(
        PairClock(a.site_name, b.site_name, *together(drifts[a.site_id], drifts[b.site_id]))
        for a, b in combinations(sites, 2)
    )
    named = f"{carried.name}: {limit_us:g} µs" if asked.limit_us is None else f"{limit_us:g} µs"
    return Clocks(limit_us, named, sites, pairs, cable_error_us)


def in_words(time_h: float) -> str:
    """Hours as people say them; never where they are infinite.

    Examples
    --------
    >>> in_words(0.005), in_words(0.25), in_words(30.0), in_words(200.0), in_words(float("inf"))
    ('18 s', '15 min', '30.0 h', '8.3 days', 'never')
    """
    if isinf(time_h):
        return "never"
    if time_h < 1 / 30:
        return f"{3600 * time_h:.0f} s"
    if time_h < 1:
        return f"{60 * time_h:.0f} min"
    return f"{time_h:.1f} h" if time_h < 72 else f"{time_h / 24:.1f} days"


def _made(asked: AskedClocks, problems: list[Problem]) -> dict[str, Clock]:
    """A clock of every kind, at the temperatures given."""
    step, swing = asked.step_degc, asked.swing_degc
    own = (asked.own_frequency_offset_ratio, asked.own_ageing_per_day, asked.own_temperature_per_degc)
    own_keys = ("own_frequency_offset_ratio", "own_ageing_per_day", "own_temperature_per_degc")
    blank = _attempt(lambda: Clock(0.0, 0.0, 0.0, 0.0, step, swing), ("step_degc", "swing_degc"), problems)
    typed = _attempt(lambda: Clock(0.0, *own), own_keys, problems)
    locked = _attempt(lambda: Clock(asked.locked_us), ("locked_us",), problems)
    if blank is None or typed is None or locked is None:
        return {key: Clock() for key, _ in kinds()}
    found = {key: kind.clock(step_degc=step, swing_degc=swing) for key, kind in oscillators().items()}
    return found | {
        OWN: replace(typed, temperature_step_degc=step, temperature_swing_degc=swing),
        LOCKED: locked,
    }


def _cable_error_us(asked: AskedClocks, problems: list[Problem]) -> float | None:
    """How late the antenna cable of a timing receiver makes it, where a length is given. [us]"""
    if asked.cable_m is None:
        return None
    receiver = Receiver(asked.cable_m, asked.velocity_factor, asked.entered_ns / 1000)
    return _attempt(lambda: receiver.error_us, ("cable_m", "velocity_factor"), problems)


def _attempt(make: Callable[[], T], keys: tuple[str, ...], problems: list[Problem]) -> T | None:
    """What `make` gives; what it refuses is a problem at its key."""
    try:
        return make()
    except ValueError as error:
        key = key_of(str(error), keys)
        problems.append(Problem(key, str(error), "", code="clock-refused", fields=(key,)))
    return None


def _out_of_range(key: str, value: float, expected: str) -> Problem:
    """A figure that cannot be."""
    return Problem(key, f"cannot be {value:g}", expected, code="out-of-range", fields=(key,))
