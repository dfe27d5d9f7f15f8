"""The sheet of a site while a change is taken back: the old values are what is set, and the launch that they give.

It is the sheet of the change with both ends exchanged, so that questions, verdict and expected launch speak of the way
back by the same rules as they speak of the plan.
"""

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

from sfn.chain import MAIN
from sfn.plan import Network
from sfn.plan.reported import WayBack
from sfn.study.live_change import LiveChange, LiveStep, Step
from sfn.study.readings import Reading
from sfn.study.sheet import FieldLine, RouteSheet, Sheet
from sfn.study.site_state import SiteState, site_state
from sfn.timing.device import contributes

_SECOND_US = 1_000_000.0


def never_changed(step: LiveStep) -> bool:
    """Whether nothing was reported at a site since the change began, and it stands as it stood before."""
    return step.state == "as before" and not step.step.before and not any(one.since for one in step.fields)


def as_ordered(
    found: SiteState, change: LiveChange, old: Sheet, *, since: Sequence[Reading], every: Sequence[Reading]
) -> SiteState:
    """State of a site after everything was ordered back: what went back as ordered does not disagree.

    Parameters
    ----------
    found : SiteState
        Held against the plan.
    change : LiveChange
        Going back, or gone back and over.
    old : Sheet
        `going_back_sheet` of the site.
    since, every : sequence of Reading
        Those since the order, and all, in the order in which they held.

    Returns
    -------
    state : SiteState
        ``gone back``, or ``not changed`` where nothing was reported since the change began, with settings and launches
        held against the old values; a launch or a lock that does not agree disagrees all the same. As it was where the
        site agrees with the plan, has still to go back, or nobody reported anything.
    """
    step = next((one for one in change.steps if one.step.site_id == old.site.id), None)
    if step is None or step.state != "as before" or found.state in ("set", "measured"):
        return found
    still = never_changed(step)
    if still and found.state == "planned":
        return found
    held = site_state(old, [(one, True) for one in (every if still else since)])
    if held.state in ("disagrees", "split"):
        return replace(held, state="disagrees")
    return replace(held, state="not changed" if still else "gone back")


def under_way_sheet(made: Sheet, step: Step | None) -> Sheet:
    """The sheet of a site while a change is under way: it goes back to what was written down when the change began.

    Parameters
    ----------
    made : Sheet
        In the revision of the change.
    step : Step or None
        The site's; without one the sheet stays as it is.

    Returns
    -------
    sheet : Sheet
        What a technician reported since, right or wrong, is no way back for anybody.
    """
    if step is None:
        return made
    named = {one.name for one in step.fields}
    routes = (
        replace(
            route,
            fields=tuple(
                line if line.name not in named or (old := _old(line, route.row.route, step)) is None
                else replace(line, back=WayBack(old))
                for line in route.fields
            ),
        )
        for route in made.routes
    )  # fmt: skip
    return replace(made, routes=tuple(routes))


def going_back_sheet(made: Sheet, change: LiveChange) -> Sheet | None:
    """The same sheet with old values as its settings and new ones as what they replace.

    Parameters
    ----------
    made : Sheet
        In the revision of the change.
    change : LiveChange

    Returns
    -------
    sheet : Sheet or None
        Launches and planes are those with the old values of the site, and with what the timeline says of the sites
        that feed it off air: one that has not gone back yet still moves it. None where the site has no step, or
        nobody knows an old value.
    """
    step = next((one for one in change.steps if one.step.site_id == made.site.id), None)
    if step is None:
        return None
    feeds_us = _feeds_us(made.network, made.site.fed_off_air_from, change)
    routes = []
    for route in made.routes:
        turned = _turned_back(made, route, step, feeds_us)
        if turned is None:
            return None
        routes.append(turned)
    return replace(made, routes=tuple(routes))


def _turned_back(made: Sheet, route: RouteSheet, step: LiveStep, feeds_us: Fraction) -> RouteSheet | None:
    """One route with both ends exchanged."""
    own = {one.name: one for one in made.site.delay_fields}
    lines: list[FieldLine] = []
    moves_us = feeds_us
    for line in route.fields:
        old = _old(line, route.row.route, step.step)
        if old is None:
            return None
        moves_us += contributes(own[line.name], old) - contributes(own[line.name], line.value)
        lines.append(replace(line, value=old, back=replace(line.back, value=line.value, at_issue=None)))
    moved_us = float(moves_us)
    planes = tuple(
        replace(
            one, passes_us=one.passes_us + moved_us, after_second_us=(one.passes_us + moved_us) % _SECOND_US
        )
        for one in route.planes
    )  # fmt: skip
    row = replace(route.row, launch_us=route.row.launch_us + moved_us)
    return replace(route, row=row, fields=tuple(lines), planes=planes)


def _old(line: FieldLine, route: str, step: Step) -> float | None:
    """What a field goes back to: as it was written down when the change began; one that has no step stays."""
    written = [one for one in step.fields if one.name == line.name]
    # A setting for all routes is written down once, at the first of them.
    found = next((one for one in written if one.route == route), written[0] if written else None)
    return line.value if found is None else found.back


def _feeds_us(network: Network, parent_id: str | None, change: LiveChange) -> Fraction:
    """How much later than planned the sites that feed one off air launch now, by the timeline. [us]"""
    sites, moved_us = {one.id: one for one in network.sites}, Fraction(0)
    while parent_id is not None and parent_id in sites:
        site = sites[parent_id]
        own = {one.name: one for one in site.delay_fields}
        step = next((one for one in change.steps if one.step.site_id == parent_id), None)
        for one in () if step is None else step.fields:
            if one.field.route == MAIN and None not in (one.value, one.field.value) and one.field.name in own:
                field = own[one.field.name]
                moved_us += contributes(field, one.value or 0.0) - contributes(field, one.field.value or 0.0)
        parent_id = site.fed_off_air_from
    return moved_us
