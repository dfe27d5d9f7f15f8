"""Delay differences measured on air: the CSV file, and what the plan predicts at the same points."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sfn.errors import Problem
from sfn.geodesy.line import inverse, path_length, travel_time
from sfn.survey.rows import Row, read_rows, refuse, rows_of

COLUMNS = (
    "when",
    "point",
    "lat",
    "lon",
    "site",
    "reference_site",
    "delay_difference_us",
    "uncertainty_us",
    "reference_plane",
    "by",
)
OPTIONAL = ("rx_ground_m",)


@dataclass(frozen=True, slots=True)
class Measurement:
    """Arrival of `site` minus arrival of `reference_site` at a point; positive = `site` is later.

    Parameters
    ----------
    uncertainty_us : float
        Standard uncertainty, one sigma. [us]
    reference_plane : str
        Where the measured times hold; "antenna" for signals off air.
    rx_ground_m : float
        Ground at the point above sea level; NaN when not told. [m]
    where : str
        File and line, for messages.
    """

    when: str
    point: str
    lat_deg: float
    lon_deg: float
    site: str
    reference_site: str
    delay_difference_us: float
    uncertainty_us: float
    reference_plane: str
    by: str
    rx_ground_m: float = float("nan")
    where: str = ""


def read_measurements(path: Path | str, *, sites: tuple[str, ...]) -> tuple[Measurement, ...]:
    """The measurements of a CSV file, in its order.

    Parameters
    ----------
    path : path
        Columns when,point,lat,lon,site,reference_site,delay_difference_us,uncertainty_us,reference_plane,by and, if
        wanted, rx_ground_m.
    sites : tuple of str
        Ids of the network's sites.

    Raises
    ------
    PlanError
        If anything cannot be used; every problem names file, line and column.
    """
    return _measurements(read_rows(path, required=COLUMNS, optional=OPTIONAL), sites=sites)


def measurements_of(text: str, *, source: str, sites: tuple[str, ...]) -> tuple[Measurement, ...]:
    """The same from text that is already here."""
    return _measurements(rows_of(text, source=source, required=COLUMNS, optional=OPTIONAL), sites=sites)


def _measurements(rows: list[Row], *, sites: tuple[str, ...]) -> tuple[Measurement, ...]:
    """All rows, or all their problems."""
    found = tuple(_measurement(row, sites=sites) for row in rows)
    refuse(rows)
    return found


def _measurement(row: Row, *, sites: tuple[str, ...]) -> Measurement:
    """One row."""
    site, reference = row.one_of("site", sites), row.one_of("reference_site", sites)
    if site and site == reference:
        row.problems.append(Problem(row.where("reference_site"), f"{site} is compared with itself", "another site"))
    uncertainty_us = row.number("uncertainty_us", least=0.0, greatest=1e6, unit="us")
    if uncertainty_us == 0.0:
        what = "0 would outweigh all others"
        row.problems.append(Problem(row.where("uncertainty_us"), what, "the standard uncertainty, more than 0 us"))
    return Measurement(
        when=row.text("when", empty=True),
        point=row.text("point", empty=True) or f"{row.cells['lat']},{row.cells['lon']}",
        lat_deg=row.number("lat", least=-90.0, greatest=90.0, unit="degrees"),
        lon_deg=row.number("lon", least=-180.0, greatest=180.0, unit="degrees"),
        site=site,
        reference_site=reference,
        delay_difference_us=row.number("delay_difference_us", least=-1e6, greatest=1e6, unit="us"),
        uncertainty_us=uncertainty_us,
        reference_plane=row.text("reference_plane", empty=True),
        by=row.text("by", empty=True),
        rx_ground_m=row.number("rx_ground_m", least=-500.0, greatest=9000.0, unit="m", empty=True),
        where=row.where(),
    )


def predicted_difference(
    launch_us: ArrayLike,
    *,
    site_lat_deg: ArrayLike,
    site_lon_deg: ArrayLike,
    site_height_m: ArrayLike,
    reference_launch_us: ArrayLike,
    reference_lat_deg: ArrayLike,
    reference_lon_deg: ArrayLike,
    reference_height_m: ArrayLike,
    lat_deg: ArrayLike,
    lon_deg: ArrayLike,
    rx_height_m: ArrayLike,
    refractivity_n: float,
) -> NDArray[np.float64]:
    """Arrival of a site minus arrival of its reference at points, as planned.

    Parameters
    ----------
    launch_us, reference_launch_us : array_like (M,)
        Launch times. [us]
    site_lat_deg ... reference_height_m : array_like (M,)
        Where the two antennas are; heights above sea level. [degrees, m]
    lat_deg, lon_deg : array_like (M,)
        Where it was measured. [degrees]
    rx_height_m : array_like (M,)
        Receiving antenna above sea level; where it is NaN the paths count along the ground. [m]
    refractivity_n : float
        [N-units]

    Returns
    -------
    ndarray (M,)
        Positive = the site arrives later. [us]
    """

    def arrival(at_us: ArrayLike, lat: ArrayLike, lon: ArrayLike, height_m: ArrayLike) -> NDArray[np.float64]:
        ground_m, _, _ = inverse(lat, lon, lat_deg, lon_deg)
        difference_m = np.nan_to_num(np.asarray(height_m, dtype=np.float64) - np.asarray(rx_height_m))
        path_m = path_length(ground_m, height_difference_m=difference_m)
        return np.asarray(at_us, dtype=np.float64) + travel_time(path_m, refractivity_n=refractivity_n)

    later = arrival(launch_us, site_lat_deg, site_lon_deg, site_height_m)
    return np.asarray(later - arrival(reference_launch_us, reference_lat_deg, reference_lon_deg, reference_height_m))


def planes(measurements: tuple[Measurement, ...]) -> list[Problem]:
    """A doubt for every plane other than the antenna: its feeders are not in the plan's arrival times."""
    named = sorted({m.reference_plane for m in measurements} - {"", "antenna"})
    expected = "antenna, or the value corrected for what lies between that plane and the antenna"
    return [
        Problem(f"reference_plane {plane!r}", "arrival times of the plan hold at the antennas", expected, "warning")
        for plane in named
    ]
