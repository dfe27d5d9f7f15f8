"""Going over to a standby route: the jump of the launch, the audio break, and what it costs to keep it running."""

from dataclasses import dataclass

from sfn.chain import MAIN
from sfn.errors import PlanError, Problem
from sfn.stream.link import MONTH_S
from sfn.timing import DelayTable


@dataclass(frozen=True, slots=True)
class AskedStandby:
    """What is said of standby streams.

    Parameters
    ----------
    standby_mbps : float
        Rate of one, as it is billed. [Mbit/s]
    standby_detect_s : float
        The loss is noticed within. [s]
    standby_call_s : float
        A called stream arrives within. [s]
    standby_needed_h : float
        That it is needed in a month. [h]
    standby_called : bool
        It is called only when needed, else it runs all the time.
    """

    standby_mbps: float = 1.5
    standby_detect_s: float = 1.0
    standby_call_s: float = 5.0
    standby_needed_h: float = 2.0
    standby_called: bool = False


@dataclass(frozen=True, slots=True)
class StandbyRoute:
    """One route of a site besides the main one.

    Parameters
    ----------
    site_name, route : str
    jump_us : float or None
        Launch on it as a change-over finds it, with the main route's settings left in place or its own presets,
        minus launch on main. [us]
    follow : tuple of str
        Names of the sites fed off air whose launches jump with it.
    outage_s : float
        Audio break at a change-over: until the loss is noticed and, for a route that is called, until it plays. [s]
    always_on_bytes, on_demand_bytes : float
        Data a month, kept running, and called for the hours given. [bytes]
    """

    site_name: str
    route: str
    jump_us: float | None
    follow: tuple[str, ...]
    outage_s: float
    always_on_bytes: float
    on_demand_bytes: float


def standby_routes(table: DelayTable, asked: AskedStandby) -> tuple[StandbyRoute, ...]:
    """Every route that a site may go over to, the greatest jump first.

    Parameters
    ----------
    table : DelayTable
    asked : AskedStandby

    Raises
    ------
    PlanError
        With every problem at its key.
    """
    rate, detect, call = asked.standby_mbps, asked.standby_detect_s, asked.standby_call_s
    hours, called = asked.standby_needed_h, asked.standby_called
    problems = []
    for name, value, most, unit in (
        ("standby_mbps", rate, 1e5, "Mbit/s"),
        ("standby_detect_s", detect, 86_400, "s"),
        ("standby_call_s", call, 86_400, "s"),
        ("standby_needed_h", hours, MONTH_S / 3600, "h"),
    ):
        if not 0 <= value <= most:
            problems.append(
                Problem(
                    name,
                    f"cannot be {value:g}",
                    f"0 to {most:g} {unit}",
                    code="out-of-range",
                    fields=(name,),
                    values={"value": value, "most": most},
                )
            )
    if problems:
        raise PlanError(problems)
    names = {row.site_id: row.site_name for row in table.rows}
    found = [
        StandbyRoute(
            row.site_name,
            row.route,
            row.jump_us,
            tuple(names[site] for site in row.jumps),
            detect + (call + row.launch_us * 1e-6 if called else 0.0),
            rate * 125_000 * MONTH_S,
            rate * 125_000 * hours * 3600,
        )
        for row in table.rows
        if row.route != MAIN
    ]
    return tuple(sorted(found, key=lambda one: -abs(one.jump_us or 0.0)))
