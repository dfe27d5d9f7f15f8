"""What a change-over to another route does to the launch, where it is more than the service bears."""

from collections.abc import Iterator

from sfn.errors import Problem, Touch
from sfn.plan import Network
from sfn.timing import DelayTable


def failover_problems(network: Network, table: DelayTable, *, tolerance_us: float) -> Iterator[Problem]:
    """Routes that launch at another time than the main one, with the main route's settings left in place.

    Parameters
    ----------
    network : Network
    table : DelayTable
    tolerance_us : float
        What the service bears. [us]
    """
    index = {site.id: n for n, site in enumerate(network.sites)}
    for row in table.rows:
        if row.jump_us is None or abs(row.jump_us) <= tolerance_us:
            continue
        what = (
            f"site {row.site_name}: a change-over to {row.route} moves its launch by {row.jump_us:+.4g} us, "
            f"the service bears {tolerance_us:g} us"
        )
        yield Problem(
            f"sites[{index[row.site_id]}].chains",
            what,
            "a setting of its own for that route, or as much delay upstream in the faster one",
            "warning",
            "jump-beyond-tolerance",
            (Touch(row.site_id),),
            values={"jump_us": row.jump_us, "tolerance_us": tolerance_us},
        )
