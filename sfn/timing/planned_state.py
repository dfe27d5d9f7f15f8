"""A network in one of its planned states: a phase of building, a site out, reduced power.

Settings of sites that do not change stay as they are: the common delay stays today's, unless the state has its own. A
site that stops transmitting takes those with it that receive it off air.
"""

from sfn.errors import PlanError, Problem
from sfn.plan import Network
from sfn.plan.document import CommonDelay, Site
from sfn.plan.planned import TODAY, PlannedChange, PlannedState
from sfn.plan.position import Power
from sfn.timing.table import delay_table


def in_state(network: Network, name: str) -> Network:
    """The network in a planned state, by its name; the network itself for an empty name or "today".

    Parameters
    ----------
    network : Network
    name : str
        Upper and lower case do not matter.

    Raises
    ------
    PlanError
        If it has no such state; the problem names those there are.
    """
    wanted = name.strip().casefold()
    if wanted in ("", TODAY):
        return network.today
    today = network.today
    state = next((one for one in today.planned or () if one.name.strip().casefold() == wanted), None)
    if state is None:
        known = ", ".join((TODAY, *(one.name for one in today.planned or ())))
        what = f"there is no planned state {name.strip()[:80]!r}"
        raise PlanError([Problem("state", what, f"one of {known}", code="unknown-state", fields=("state",))])
    changes = {change.site: change for change in state.changes}
    silent = _silent(today, state)
    sites = tuple(_then(site, changes.get(site.id), silent=site.id in silent) for site in today.sites)
    delay = CommonDelay(mode="fixed", value_us=_common_delay_us(today, state))
    return today.standing_as(state, today.model_copy(update={"sites": sites, "common_delay": delay}))


def _common_delay_us(today: Network, state: PlannedState) -> float:
    """What all sites launch by in the state. [us]"""
    if state.common_delay_us is not None:
        return state.common_delay_us
    return float(delay_table(today).common_delay_us)


def _then(site: Site, change: PlannedChange | None, *, silent: bool) -> Site:
    """One site in the state."""
    new: dict[str, object] = {"on_air": False} if silent else {}
    if change is not None:
        if change.on_air and not silent:
            new["on_air"] = True
        if change.offset_us is not None:
            new["offset_us"] = change.offset_us
        if change.power_db is not None:
            ratio = 10 ** (change.power_db / 10)
            new["erp_kw"] = Power(h=site.erp_kw.h * ratio, v=site.erp_kw.v * ratio)
    return site.model_copy(update=new) if new else site


def _silent(today: Network, state: PlannedState) -> frozenset[str]:
    """Sites not transmitting in the state: by a change of it, or fed by one that is not."""
    off = {change.site for change in state.changes if change.on_air is False}
    parents = {site.id: site.fed_off_air_from for site in today.sites}
    found = set(off)
    for name in parents:
        at: str | None = name
        while at is not None and at not in off:
            at = parents.get(at)
        if at is not None:
            found.add(name)
    return frozenset(found)
