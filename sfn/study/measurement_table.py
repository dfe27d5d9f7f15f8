"""Measured delay differences as a table: what was understood line by line, and a table to be filled in."""

from dataclasses import replace

import numpy as np

from sfn.errors import Problem, Touch
from sfn.geodesy.line import inverse
from sfn.geodesy.sites import place
from sfn.plan import Network
from sfn.plan.left_out import why_left_out
from sfn.plan.sheets import SheetTable
from sfn.report.tables import csv_text
from sfn.survey.measurements import WRITTEN, MeasurementRow, MeasurementTable, understood
from sfn.units import grouped

# Nobody hears two sites of one network from farther away; latitude and longitude the wrong way round often are.
GREATEST_KM = 1000.0
MOST_LINES_N = 100


def understood_measurements(table: SheetTable, network: Network) -> MeasurementTable:
    """A table of measurements as it is understood for a network, line by line; nothing is worked out from it yet.

    Parameters
    ----------
    table : SheetTable
        Columns as in `sfn.survey.measurements.COLUMNS`.
    network : Network

    Raises
    ------
    PlanError
        If a column is missing or there twice, there is no line, or a site's position cannot be read.
    """
    found = understood(table, {site.id: site.name for site in network.whole.sites})
    found = replace(found, rows=tuple(_of_readable(row, network) for row in found.rows))
    placed = place(network)
    usable = [row.measurement for row in found.rows if row.measurement is not None]
    ends = [(m.lat_deg, m.lon_deg, placed[m.site].lat_deg, placed[m.site].lon_deg) for m in usable]
    away_m = inverse(*np.array(ends).T)[0] if ends else np.zeros(0)
    away = dict(zip((m.where for m in usable), away_m.tolist(), strict=True))
    return replace(found, rows=tuple(_near(row, away) for row in found.rows))


def template(network: Network) -> str:
    """A table with a line for each site against the first one on air, to be filled in and given back."""
    on_air = [site.id for site in network.sites if site.on_air] or [site.id for site in network.sites]
    given = (
        {"site": i, "reference_site": on_air[0], "reference_plane": "antenna"} for i in on_air[1 : MOST_LINES_N + 1]
    )
    return csv_text([WRITTEN, *([row.get(name) for name in WRITTEN] for row in given)]).replace("\r\n", "\n")


def _of_readable(row: MeasurementRow, network: Network) -> MeasurementRow:
    """The row, refused when it speaks of a site that is left out."""
    made = row.measurement
    gone = () if made is None else why_left_out(network.left_out, (made.site, made.reference_site))
    if made is None or not gone:
        return row
    return replace(row, measurement=None, problems=tuple(replace(p, where=made.where) for p in gone))


def _near(row: MeasurementRow, away: dict[str, float]) -> MeasurementRow:
    """The row, refused when it lies too far from its site."""
    if row.measurement is None or away[row.measurement.where] <= 1000 * GREATEST_KM:
        return row
    far_km = away[row.measurement.where] / 1000
    what = f"{row.measurement.point} is {grouped(far_km, '.0f')} km from {row.measurement.site}"
    problem = Problem(
        row.measurement.where,
        what,
        "a place where both are heard; is latitude first?",
        code="measured-far-from-site",
        touches=(Touch(row.measurement.site),),
        values={"distance_km": far_km},
    )
    return replace(row, measurement=None, problems=(problem,))
