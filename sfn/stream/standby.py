"""Main, standby and local fallback of a site: one release delay, the jump without it, the outage, the data it costs."""

from dataclasses import dataclass

from sfn.errors import Problem, in_range
from sfn.stream.buffer import Need, Release, common_release
from sfn.stream.link import MONTH_S


@dataclass(frozen=True, slots=True)
class Standby:
    """One route of a site.

    Parameters
    ----------
    need : Need
        What it asks of the release delay; its name is the route's.
    rate_mbps : float
        As billed. [Mbit/s]
    time_stamped : bool
        Released at time stamps of the common clock.
    always_on : bool
        The stream runs all the time; otherwise it is called when needed.
    detect_s, call_s : float
        Until the loss of the route before is noticed; until a called stream arrives. [s]
    same_programme : bool
    """

    need: Need
    rate_mbps: float
    time_stamped: bool = True
    always_on: bool = True
    detect_s: float = 0.0
    call_s: float = 0.0
    same_programme: bool = True

    def __post_init__(self) -> None:
        """Refuse what is no route."""
        in_range("rate_mbps", self.rate_mbps, least=0, greatest=1e5, unit="Mbit/s")
        in_range("detect_s", self.detect_s, least=0, greatest=86_400, unit="s")
        in_range("call_s", self.call_s, least=0, greatest=86_400, unit="s")


@dataclass(frozen=True, slots=True)
class Change:
    """Going over from the main route to another.

    Parameters
    ----------
    route : str
    jump_us : float
        Change of the launch time. [us]
    outage_s : float
        Audio break. [s]
    always_on_bytes, on_demand_bytes : float
        Data a month, kept running and called for the hours given. [bytes]
    problem : Problem or None
        Where the release delay does not cover the route, or nothing holds its launch time.
    """

    route: str
    jump_us: float
    outage_s: float
    always_on_bytes: float
    on_demand_bytes: float
    problem: Problem | None


def release_for(routes: list[Standby], *, margin_us: float = 0.0, step_us: float = 1.0) -> Release:
    """The one release delay that covers every time-stamped route.

    Raises
    ------
    ValueError
        If none is time-stamped.
    """
    stamped = [route.need for route in routes if route.time_stamped]
    if not stamped:
        raise ValueError("routes must hold at least one that is time-stamped")
    return common_release(stamped, margin_us=margin_us, step_us=step_us)


def changes(routes: list[Standby], *, release_us: float, on_demand_h: float) -> tuple[Change, ...]:
    """Going over from the first route to each other one.

    Parameters
    ----------
    routes : list of Standby
        Main first.
    release_us : float
        Release delay in force. [us]
    on_demand_h : float
        Hours a month that a called stream would run. [h]

    Returns
    -------
    changes : tuple of Change
        One for every route but the first.

    Raises
    ------
    ValueError
        If there are fewer than two routes, or hours beyond a month.

    Examples
    --------
    1.5 Mbit/s all month, in 10^9 bytes:

    >>> from sfn.stream.buffer import Need
    >>> pair = [Standby(Need("main", 9000, 3000), 1.5), Standby(Need("standby", 60_000, 30_000), 1.5)]
    >>> change = changes(pair, release_us=50_000, on_demand_h=2)[0]
    >>> change.jump_us, round(change.always_on_bytes / 1e9, 1), change.on_demand_bytes / 1e9
    (40000.0, 493.1, 1.35)
    """
    in_range("routes", len(routes), least=2, greatest=10, unit="routes")
    in_range("on_demand_h", on_demand_h, least=0, greatest=MONTH_S / 3600, unit="h")
    main_us = _launch_us(routes[0], release_us=release_us)
    found = []
    for route in routes[1:]:
        launch_us = _launch_us(route, release_us=release_us)
        filling_s = 0.0 if route.always_on else route.call_s + launch_us * 1e-6
        found.append(
            Change(
                route.need.name,
                launch_us - main_us,
                route.detect_s + filling_s,
                route.rate_mbps * 125_000 * MONTH_S,
                route.rate_mbps * 125_000 * on_demand_h * 3600,
                _problem(route, release_us=release_us),
            )
        )
    return tuple(found)


def _launch_us(route: Standby, *, release_us: float) -> float:
    """When the route's signal leaves the receiver after its stamp: at release, later if it cannot be there by then."""
    return max(release_us, route.need.total_us) if route.time_stamped else route.need.total_us


def _problem(route: Standby, *, release_us: float) -> Problem | None:
    """Why the launch time jumps on this route, if it does."""
    short_us = route.need.total_us - release_us
    where = f"routes.{route.need.name}"
    if not route.time_stamped:
        what = f"has no time stamps: its launch time is its latency of {route.need.total_us:.0f} us and wanders with it"
        return Problem(
            where,
            what,
            "release at time stamps, on main and standby alike",
            "warning",
            code="route-without-time-stamps",
        )
    if short_us <= 0:
        return None
    what = f"buffer underrun: it needs {route.need.total_us:.0f} us, the release delay is {release_us:.0f}"
    return Problem(
        where,
        what,
        f"a release delay at least {short_us:.0f} us longer, for every route",
        code="release-too-early",
        values={"needed_us": route.need.total_us, "release_us": release_us},
    )
