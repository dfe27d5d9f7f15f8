"""How far a launch may be off before anybody measured it: by figures that are assumed, and by tolerances.

Where either is worth more than the tolerated error, the sheet is a first try: set, measure, correct.
"""

from collections.abc import Iterator
from fractions import Fraction

from sfn.chain import MAIN, feed_stages, rests_on_assumption, stage_latency
from sfn.errors import Problem, Touch
from sfn.plan import Network, Stage
from sfn.timing import DelayRow, DelayTable
from sfn.units import exact, written

ASSUMED, WIDE = "assumed-above-tolerated", "tolerance-above-tolerated"
FIRST_TRY = (ASSUMED, WIDE)


def uncertain(network: Network, table: DelayTable, tolerated_us: float) -> Iterator[Problem]:
    """What nobody can be certain of, weighed by what it may be wrong by, one or two problems a site and route.

    Parameters
    ----------
    network : Network
    table : DelayTable
        Of the same network.
    tolerated_us : float
        Launch error that may stay. [us]
    """
    index = {site.id: n for n, site in enumerate(network.sites)}
    passed, shared = _passed(network, table)
    for row in table.rows:
        where = f"sites[{index[row.site_id]}].chains"
        yield from _assumed(network, row, where, tolerated_us)
        known = [one for one in passed[row.site_id, row.route] if not rests_on_assumption(one) and one.tolerance_us]
        yield from _wide(row, [stage for stage in known if stage.id not in shared], where, tolerated_us)
        yield from _alike(row, [stage for stage in known if stage.id in shared], where, tolerated_us)


def first_tries(network: Network, table: DelayTable, tolerated_us: float) -> frozenset[str]:
    """Ids of the sites whose main route is only a first try; arguments as `uncertain`."""
    return frozenset(
        problem.touches[0].site
        for problem in uncertain(network, table, tolerated_us)
        if problem.code in FIRST_TRY and problem.touches[0].route == MAIN
    )


def assumed_at_stake(network: Network, row: DelayRow) -> float:
    """What a route's launch may be wrong by because figures are only assumed. [us]

    An assumed stage counts with its stated tolerance; one that states none, or none at all, counts with its whole
    latency, since nobody is certain of an assumed figure. Stages of the parents that feed a relay count too.
    """
    stages = {stage.id: stage for stage in network.stages}
    total_us = 0.0
    for name in row.assumed_stages:
        latency = float(stage_latency(stages[name], refractivity_n=network.refractivity_n))
        total_us += stages[name].tolerance_us or abs(latency)
    return total_us


_Passed = dict[tuple[str, str], tuple[Stage, ...]]


def _passed(network: Network, table: DelayTable) -> tuple[_Passed, set[str]]:
    """The stages that a launch rests on, by site and route; and which of them the main route of every site passes.

    What all transmitting sites share moves all of them alike. A stage that a time stamp covers is in none, those of the
    parents that feed a relay are.
    """
    passed = feed_stages(network, {(row.site_id, row.route): row.own for row in table.rows})
    mains = [
        {stage.id for stage in passed[row.site_id, MAIN]} for row in table.rows if row.on_air and row.route == MAIN
    ]
    return passed, set.intersection(*mains) if len(mains) > 1 else set()


def _assumed(network: Network, row: DelayRow, where: str, tolerated_us: float) -> Iterator[Problem]:
    """Figures that nobody measured."""
    if not row.assumed_stages:
        return
    stages = {stage.id: stage for stage in network.stages}
    at_stake_us = assumed_at_stake(network, row)
    above = at_stake_us > tolerated_us
    unstated = [name for name in row.assumed_stages if not stages[name].tolerance_us]
    named = ", ".join(row.assumed_stages)
    expected = "measured figures; until then set, measure, correct" if above else "measured figures"
    said = (
        f"site {row.site_name} ({row.route}): {written(at_stake_us, 4)} us rest on what is only assumed ({named}); "
        f"tolerated are {written(tolerated_us, 4)} us"
    )
    if unstated:
        said += f"; for {', '.join(unstated)} no tolerance is stated, so the whole latency counts"
    code = ASSUMED if above else "assumed-without-tolerance" if unstated else "assumed-small"
    yield Problem(
        where, said, expected, "warning", code=code, touches=(Touch(row.site_id, row.route),),
        stages=row.assumed_stages, values={"assumed_us": at_stake_us, "tolerated_us": tolerated_us},
    )  # fmt: skip


def _worst(stages: list[Stage]) -> Fraction:
    """The sum of stated tolerances, exactly: at the limit no digit of a float decides. [us]"""
    return sum((exact(stage.tolerance_us or 0.0) for stage in stages), Fraction(0))


def _alike(row: DelayRow, known: list[Stage], where: str, tolerated_us: float) -> Iterator[Problem]:
    """What may move all sites together: nobody hears it, and a reading against the pulse may differ by it."""
    worst_us = float(_worst(known))
    if worst_us <= tolerated_us:
        return
    stages = tuple(dict.fromkeys(stage.id for stage in known))
    what = (
        f"site {row.site_name} ({row.route}): {worst_us:.4g} us of tolerance are of {', '.join(stages)}, "
        "which all sites share: it is an uncertainty of all launches alike, and of every reading against the pulse"
    )
    yield Problem(
        where, what, "readings of several sites held against each other", "warning", code="tolerance-shared",
        touches=(Touch(row.site_id, row.route),), stages=stages,
        values={"tolerance_us": worst_us, "tolerated_us": tolerated_us},
    )  # fmt: skip


def _wide(row: DelayRow, known: list[Stage], where: str, tolerated_us: float) -> Iterator[Problem]:
    """Figures that are known, but not as near as is tolerated."""
    worst = _worst(known)
    if worst <= exact(tolerated_us):
        return
    worst_us = float(worst)
    stages = tuple(dict.fromkeys(stage.id for stage in known))
    restart = tuple(dict.fromkeys(stage.id for stage in known if stage.tolerance_kind == "restart"))
    what = (
        f"site {row.site_name} ({row.route}): its launch has an uncertainty of {written(worst_us, 4)} us by the "
        f"tolerances of {', '.join(stages)}, without what all sites share; tolerated are {written(tolerated_us, 4)} us"
    )
    if restart:
        what += f"; every restart of {', '.join(restart)} may move it again"
    expected = "set, measure, correct; " + (
        "measured again after every restart" if restart else "a closer tolerance once it is measured"
    )
    yield Problem(
        where, what, expected, "warning", code=WIDE, touches=(Touch(row.site_id, row.route),), stages=stages,
        values={
            "tolerance_us": worst_us,
            "tolerated_us": tolerated_us,
            "restart_us": sum(stage.tolerance_us or 0.0 for stage in known if stage.tolerance_kind == "restart"),
        },
        said={"off_said": f"{written(worst_us, 4)} us", "tolerated_said": f"{written(tolerated_us, 4)} us"},
    )  # fmt: skip
