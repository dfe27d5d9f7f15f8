"""Clocks of a network's sites without their reference: time to the tolerance, alone and in pairs, and alarms."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import combinations
from math import isinf

from sfn.clock.holdover import Alarm, Clock, alarms, left_out, pair_time_to_limit, time_to_limit
from sfn.clock.oscillator import oscillators
from sfn.clock.reference import Receiver
from sfn.errors import Problem, Touch
from sfn.plan import Network, Site
from sfn.stream.typed import Reader
from sfn.systems.of_network import service_of

LOCKED, OWN = "locked", "own"
ASSUMED = "ocxo"  # until somebody says otherwise, and the page says so


@dataclass(frozen=True, slots=True)
class SiteClock:
    """One site's clock.

    `time_to_limit_h` is infinite for never.
    """

    site_id: str
    site_name: str
    kind: str
    clock: Clock
    time_to_limit_h: float
    alarms: tuple[Alarm, ...]
    left_out: tuple[str, ...] = ()
    """Terms that count for nothing because their figure is 0."""


@dataclass(frozen=True, slots=True)
class PairClock:
    """Two sites out of step: by worst case, and if their errors are independent."""

    a_name: str
    b_name: str
    time_to_limit_h: float
    rss_time_to_limit_h: float


@dataclass(frozen=True, slots=True)
class Clocks:
    """All sites on the air that keep time themselves."""

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


def clocks(network: Network, typed: Mapping[str, str]) -> Clocks:
    """Time that each site and each pair stays within a limit.

    Parameters
    ----------
    network : Network
    typed : mapping of field name to text
        ``clock-SITE`` is one of `kinds`; ``limit_us`` the service's tolerance where empty; temperatures, reaction time,
        own figures and the antenna cable as in `sfn.stream.fields.DEFAULTS`.

    Raises
    ------
    PlanError
        With every problem at its field.
    """
    reader = Reader(typed)
    carried = service_of(network)
    limit = reader.optional("limit_us")
    limit_us = carried.tolerance_us if limit is None else limit
    if not limit_us > 0:
        reader.problems.append(
            Problem("limit_us", f"cannot be {limit_us:g}", "above 0 us", code="out-of-range", fields=("limit_us",))
        )
    reaction_h = float(reader.number("reaction_h"))
    if not 0 <= reaction_h <= 1000:
        reader.problems.append(
            Problem(
                "reaction_h", f"cannot be {reaction_h:g}", "0 to 1000 h", code="out-of-range", fields=("reaction_h",)
            )
        )
    made = _made(reader)
    receiver = _cable(reader, typed)
    for site in with_clock(network):
        if typed.get(f"clock-{site.id}", ASSUMED) not in made:
            listed = ", ".join(made)
            reader.problems.append(
                Problem(
                    f"clock-{site.id}",
                    "is not a kind of clock",
                    f"one of {listed}",
                    code="unknown-clock",
                    touches=(Touch(site.id),),
                    fields=(f"clock-{site.id}",),
                )
            )
    reader.finish()
    sites = tuple(
        SiteClock(
            site.id, site.name, kind, clock, time_to_limit(clock, limit_us=limit_us),
            alarms(clock, limit_us=limit_us, reaction_h=reaction_h), () if kind == LOCKED else left_out(clock),
        )
        for site in with_clock(network)
        if site.on_air
        for kind in [typed.get(f"clock-{site.id}", ASSUMED)]
        for clock in [made[kind]]
    )  # fmt: skip
    pairs = tuple(
        PairClock(
            a.site_name,
            b.site_name,
            pair_time_to_limit(a.clock, b.clock, limit_us=limit_us),
            pair_time_to_limit(a.clock, b.clock, limit_us=limit_us, worst_case=False),
        )
        for a, b in combinations(sites, 2)
    )
    named = f"{carried.name}: {limit_us:g} µs" if limit is None else f"{limit_us:g} µs"
    return Clocks(limit_us, named, sites, pairs, receiver.error_us if receiver else None)


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


def _made(reader: Reader) -> dict[str, Clock]:
    """A clock of every kind, at the temperatures given."""
    step, swing = float(reader.number("step_degc")), float(reader.number("swing_degc"))
    own = (
        float(reader.number("own_frequency_offset")),
        float(reader.number("own_ageing_per_day")),
        float(reader.number("own_temperature_per_degc")),
    )
    locked_us = float(reader.number("locked_us"))
    blank = reader.attempt(lambda: Clock(0.0, 0.0, 0.0, 0.0, step, swing), ("step_degc", "swing_degc"))
    typed = reader.attempt(
        lambda: Clock(0.0, *own),
        ("own_frequency_offset", "own_ageing_per_day", "own_temperature_per_degc"),
    )
    locked = reader.attempt(lambda: Clock(locked_us), ("locked_us",))
    if blank is None or typed is None or locked is None:
        return {key: Clock() for key, _ in kinds()}
    found = {key: kind.clock(step_degc=step, swing_degc=swing) for key, kind in oscillators().items()}
    return found | {
        OWN: replace(typed, temperature_step_degc=step, temperature_swing_degc=swing),
        LOCKED: locked,
    }


def _cable(reader: Reader, typed: Mapping[str, str]) -> Receiver | None:
    """The antenna cable of a timing receiver, where a length is given."""
    if not typed.get("cable_m", "").strip():
        return None
    length, factor = float(reader.number("cable_m")), float(reader.number("velocity_factor"))
    receiver = Receiver(length, factor, float(reader.number("entered_ns")) / 1000)
    checked = reader.attempt(lambda: receiver.error_us, ("cable_m", "velocity_factor"))
    return None if checked is None else receiver
