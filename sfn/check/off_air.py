"""Problems of sites fed off air: what they hear, and whether they hear themselves."""

from sfn.errors import PlanError, Problem, Touch
from sfn.plan import Network
from sfn.reception.off_air import fed_off_air
from sfn.terrain.ground import Ground


def off_air_problems(network: Network, ground: Ground) -> tuple[Problem, ...]:
    """Loops too near to oscillation, wrong parents, and figures without which nobody can tell.

    Parameters
    ----------
    network : Network
    ground : Ground
        Field strengths at the receiving antennas come over it.
    """
    idle = [
        Problem(
            f"sites[{i}].off_air",
            f"site {site.name} says how it hears a parent, but has a chain from the studio",
            "fed_off_air_from, or no off_air",
            "warning",
            code="off-air-idle",
            touches=(Touch(site.id),),
            stages=(),
            fields=("off_air",),
        )
        for i, site in enumerate(network.sites)
        if site.off_air is not None and site.fed_off_air_from is None
    ]
    try:
        fed = fed_off_air(network, ground=ground)
    except PlanError:
        return tuple(idle)  # an unknown service or position is said already
    for one in fed:
        idle += one.problems
        if one.missing:
            what = f"site {one.site.name} radiates what it receives, but {', '.join(one.missing)} is not said"
            expected = "measured figures: without them nobody can tell how far it is from oscillation"
            idle.append(
                Problem(
                    f"sites[{one.index}].off_air",
                    what,
                    expected,
                    "warning",
                    code="relay-figures-missing",
                    touches=(Touch(one.site.id),),
                    stages=(),
                    fields=one.missing,
                )
            )
        if one.repeater is not None and one.isolation_estimated:
            what = f"site {one.site.name}: its isolation is only estimated, from the distance of its antennas"
            expected = "the isolation measured at the antennas' terminals"
            touches, values = (Touch(one.site.id),), {"isolation_db": one.repeater.isolation_db}
            where, code = f"sites[{one.index}].off_air.isolation_db", "relay-isolation-estimated"
            idle.append(
                Problem(
                    where,
                    what,
                    expected,
                    "warning",
                    code=code,
                    touches=touches,
                    stages=(),
                    fields=("isolation_db",),
                    values=values,
                )
            )
    return tuple(idle)
