"""Antenna patterns of the document that contradict themselves."""

from collections.abc import Iterator

from sfn.antenna import Table, contradictions
from sfn.errors import Problem, Touch
from sfn.plan import Network, Site


def antenna_problems(network: Network) -> tuple[Problem, ...]:
    """Directions for which a site's pattern has two attenuations, such as 0 and 360 degrees: warnings.

    They do not touch delays, but the levels and with them the places where signals meet.
    """
    return tuple(problem for index, site in enumerate(network.sites) for problem in pattern_problems(site, index))


def pattern_problems(site: Site, index: int) -> Iterator[Problem]:
    """The same of one site, by its place in the document."""
    for key, kind, table in _tables(site):
        for found in contradictions(table, kind="horizontal" if kind == "horizontal" else "vertical"):
            what = (
                f"site {site.name}: the {kind} pattern has {found.loss_db:g} dB at {found.angle_deg:g} degrees and "
                f"{found.other_loss_db:g} dB at {found.other_angle_deg:g}, one direction; the greater is reckoned with"
            )
            yield Problem(
                f"sites[{index}].antenna.{key}",
                what,
                "one attenuation for each direction (0 and 360 degrees are the same)",
                "warning",
                code="antenna-contradicts-itself",
                touches=(Touch(site.id),),
                fields=(key,),
                said={"pattern_keys": kind},
                values={
                    "angle_deg": found.angle_deg,
                    "loss_db": found.loss_db,
                    "other_angle_deg": found.other_angle_deg,
                    "other_loss_db": found.other_loss_db,
                },
            )


def _tables(site: Site) -> Iterator[tuple[str, str, Table]]:
    """Every pattern table of a site: its key under the antenna, its kind, and its rows."""
    if site.antenna is None:
        return
    for prefix, plane in (("", site.antenna), ("vertical_plane.", site.antenna.vertical_plane)):
        for kind in ("horizontal", "vertical"):
            table = getattr(plane, kind, None)
            if table is not None:
                yield prefix + kind, kind, table
