"""The records of the delay table: one row per site and route, every number with its arithmetic.

| symbol | name | unit |
|---|---|---|
| T_i | `latency_us` | us |
| T_0 | `common_delay_us` | us |
| o_i | `offset_us` | us |
| | `added_us`, ``T_0 + o_i - T_i``, exact | us |
| | `set_us`, what the fields then contribute | us |
| | `launch_us`, ``T_i + set_us`` | us |
"""

from collections.abc import Mapping
from dataclasses import dataclass

from sfn.chain import MAIN, RouteLatency
from sfn.errors import PlanError, Problem, Touch
from sfn.timing.missing import Missing
from sfn.timing.reachable import Reachable
from sfn.timing.setting import FieldSetting


@dataclass(frozen=True, slots=True)
class Term:
    """One signed term of a row's arithmetic."""

    label: str
    signed_us: float


@dataclass(frozen=True, slots=True)
class Alternative:
    """Settings that leave the coarse fields as they are set now: `rounding_us` is then left, less than is tolerated."""

    fields: tuple[FieldSetting, ...]
    set_us: float
    rounding_us: float
    words: str


@dataclass(frozen=True, slots=True)
class DelayRow:
    """The delays of one site on one route. Times count from the reference instant, positive = later.

    `now_us`, `launch_now_us` and `change_us` are None where what is set now is not known. `headroom_us` is what all
    fields can still add, `coarse_headroom_us` all but the finest. `jump_us` is the launch on this route, as a
    change-over finds it, minus that on the main route; `jumps` are the sites fed off air whose launches move with it.
    `proven` is False where more combinations of steps than may be tried could come nearer.
    """

    site_id: str
    site_name: str
    route: str
    on_air: bool
    latency_us: float
    tolerance_us: float
    rss_us: float
    assumed_us: float
    assumed_stages: tuple[str, ...]
    offset_us: float
    least_offset_us: float | None
    added_us: float
    fields: tuple[FieldSetting, ...]
    set_us: float
    rounding_us: float
    launch_us: float
    now_us: float | None
    launch_now_us: float | None
    change_us: float | None
    headroom_us: float
    coarse_headroom_us: float
    jump_us: float | None
    jumps: Mapping[str, float]
    pad_us: float
    step_us: float
    alternative: Alternative | None
    proven: bool
    own: RouteLatency
    feed: tuple[Term, ...]

    @property
    def latency_terms(self) -> tuple[Term, ...]:
        """The terms that make up the latency, in the order the signal passes them."""
        own = zip(self.own.stages, self.own.stage_us, strict=True)
        return (*self.feed, *(Term(stage.id, float(latency)) for stage, latency in own))


@dataclass(frozen=True, slots=True)
class DelayTable:
    """The whole delay table and what is wrong with it.

    `missing` are the sites that have no row, with whose fault it is; `reachable` is what would let every site have its
    wish, where one is far from it and a search found something.
    """

    network: str
    common_delay_us: float
    least_common_delay_us: float
    forced_by: tuple[str, str]
    rows: tuple[DelayRow, ...]
    problems: tuple[Problem, ...]
    missing: tuple[Missing, ...]
    reachable: Reachable | None

    def row(self, site_id: str, route: str = MAIN) -> DelayRow:
        """The row of one site and route.

        Raises
        ------
        PlanError
            If the site is missing, with whose fault it is.
        """
        gone = [one.problem for one in self.missing if one.site_id == site_id]
        if gone:
            raise PlanError(gone)
        return next(row for row in self.rows if (row.site_id, row.route) == (site_id, route))

    def launches(self, *, as_set: bool = False) -> dict[str, float]:
        """Launch time of each site's main route, computed or as set now. [us]

        Raises
        ------
        PlanError
            If a site is missing, or, as set now, what one is set to is not known: nothing stands in for it.
        """
        if self.missing:
            raise PlanError(one.problem for one in self.missing)
        if not as_set:
            return self.known_launches()
        now = {row.site_id: row.launch_now_us for row in self.rows if row.route == MAIN}
        unknown = [row for row in self.rows if row.route == MAIN and row.launch_now_us is None]
        if unknown:
            raise PlanError(unknown_now(row) for row in unknown)
        return {name: value for name, value in now.items() if value is not None}

    def known_launches(self) -> dict[str, float]:
        """Launch time of the main route of each site that can be worked out, computed. [us]"""
        return {row.site_id: row.launch_us for row in self.rows if row.route == MAIN}


def unknown_now(row: DelayRow) -> Problem:
    """Why there is no launch with what is set now."""
    return Problem(
        "delay_fields",
        f"site {row.site_name}: what is set now, there or at a site that feeds it, is not known",
        "the present value of every delay field, read off the device; or launches with the computed settings",
        code="present-value-unknown",
        touches=(Touch(row.site_id, row.route),),
    )
