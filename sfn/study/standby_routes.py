"""Going over to a standby route: the jump of the launch, the silence, and what it costs to keep it running."""

from collections.abc import Mapping
from dataclasses import dataclass

from sfn.chain import MAIN
from sfn.errors import Problem
from sfn.stream.link import MONTH_S
from sfn.stream.typed import Reader
from sfn.timing import DelayTable


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
        Silence at a change-over: until the loss is noticed and, for a route that is called, until it plays. [s]
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


def standby_routes(table: DelayTable, typed: Mapping[str, str]) -> tuple[StandbyRoute, ...]:
    """Every route that a site may go over to, the greatest jump first.

    Parameters
    ----------
    table : DelayTable
    typed : mapping of field name to text
        ``standby_mbps``, ``standby_detect_s``, ``standby_call_s``, ``standby_hours``, ``standby_called``.

    Raises
    ------
    PlanError
        With every problem at its field.
    """
    reader = Reader(typed)
    rate, detect, call, hours = (
        float(reader.number(name)) for name in ("standby_mbps", "standby_detect_s", "standby_call_s", "standby_hours")
    )
    for name, value, most, unit in (
        ("standby_mbps", rate, 1e5, "Mbit/s"),
        ("standby_detect_s", detect, 86_400, "s"),
        ("standby_call_s", call, 86_400, "s"),
        ("standby_hours", hours, MONTH_S / 3600, "h"),
    ):
        if not 0 <= value <= most:
            reader.problems.append(
                Problem(
                    name,
                    f"cannot be {value:g}",
                    f"0 to {most:g} {unit}",
                    code="out-of-range",
                    fields=(name,),
                    values={"value": value, "most": most},
                )
            )
    reader.finish()
    called = reader.yes("standby_called")
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
