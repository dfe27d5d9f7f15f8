"""Levels logged on the road: CSV with lat,lon,level_dbuvm and, if wanted, site; or GPX with levels in its points."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem
from sfn.geodesy.line import inverse
from sfn.plan.sheets import table_text
from sfn.survey.gpx import gpx_points
from sfn.survey.rows import Row, read_rows, refuse, rows_of

Floats = NDArray[np.float64]

REQUIRED = ("lat", "lon", "level_dbuvm")
OPTIONAL = ("site", "when", "remark", "mark", "quality_db")
# Word in the column `site` for "whatever is on air"; an empty cell means the same.
ALL_ON_AIR = "all"
_TEXT_LEVEL = re.compile(r"\s*(-?\d+(?:[.,]\d+)?)\s*(?:dB\s*(?:\(?[uµμ]V/m\)?)?)?\s*")


@dataclass(frozen=True, slots=True)
class DriveLog:
    """Levels in the order in which they were logged; `site` is empty where all sites on air count."""

    lat_deg: Floats
    lon_deg: Floats
    level_dbuvm: Floats
    site: tuple[str, ...]

    def __len__(self) -> int:
        """Number of samples."""
        return len(self.lat_deg)


def read_log(path: Path | str, *, sites: tuple[str, ...]) -> DriveLog:
    """A drive-test log; GPX by its suffix, else CSV.

    Parameters
    ----------
    path : path
    sites : tuple of str
        Ids that the column `site` may hold, besides "all" and nothing.

    Raises
    ------
    PlanError
        If anything cannot be used; problems name file, line and column (GPX: point by its number).
    """
    path = Path(path)
    if path.suffix.lower() != ".gpx":
        return _from_rows(read_rows(path, required=REQUIRED, optional=OPTIONAL), sites=sites)
    try:
        return log_of_bytes(path.read_bytes(), source=path.name, sites=sites)
    except OSError as error:
        raise PlanError(
            [Problem(path.name, f"cannot be opened: {error.strerror}", "a GPX file", code="file-unreadable")]
        ) from error


def log_of_bytes(content: bytes, *, source: str, sites: tuple[str, ...]) -> DriveLog:
    """The same from a file's content; GPX by the suffix of `source`, else CSV or XLSX."""
    if source.lower().endswith(".gpx"):
        return _gpx(content, source=source, sites=sites)
    return log_of(table_text(content, source=source), source=source, sites=sites)


def log_of(text: str, *, source: str, sites: tuple[str, ...]) -> DriveLog:
    """The same from CSV text that is already here."""
    return _from_rows(rows_of(text, source=source, required=REQUIRED, optional=OPTIONAL), sites=sites)


def log_of_levels(
    levels: Sequence[tuple[float, float, float, str]], *, source: str, sites: tuple[str, ...]
) -> DriveLog:
    """The same from (latitude, longitude, level, site) in driving order; a site that is empty stands for all on air.

    Raises
    ------
    PlanError
        If there is none, or a site is not known.
    """
    known = ("", ALL_ON_AIR, *sites)
    wrong = [
        Problem(
            f"{source}[{k}]",
            f"its site is {site!r}, which is not known",
            f"one of {', '.join(sites)}, or nothing",
            code="unknown-site",
            values={"site": site},
        )
        for k, (_, _, _, site) in enumerate(levels)
        if site not in known
    ]
    if wrong or not levels:
        raise PlanError(
            wrong[:20] or [Problem(source, "holds no levels", "lat, lon and a level in dBuV/m each", code="file-empty")]
        )
    lat, lon, level, site = zip(*levels, strict=True)
    return DriveLog(
        np.array(lat), np.array(lon), np.array(level), tuple("" if one == ALL_ON_AIR else one for one in site)
    )


def stretches(log: DriveLog, *, stretch_m: float = 100.0) -> DriveLog:
    """Median level of each stretch of road, so that standing at a light does not count more than driving.

    Parameters
    ----------
    log : DriveLog
    stretch_m : float
        Length of a stretch; also averages fading within some tens of wavelengths. [m]

    Returns
    -------
    DriveLog
        Mean position and median level of each stretch, per site.

    Raises
    ------
    ValueError
        If `stretch_m` is not positive.
    """
    if not stretch_m > 0:
        raise ValueError(f"stretch_m must be more than 0 m, got {stretch_m!r}")
    step_m, _, _ = inverse(log.lat_deg[:-1], log.lon_deg[:-1], log.lat_deg[1:], log.lon_deg[1:])
    number = np.floor(np.concatenate(([0.0], np.cumsum(step_m))) / stretch_m).astype(np.int64)
    changed = np.array([a != b for a, b in zip(log.site[:-1], log.site[1:], strict=True)], dtype=bool)
    part = np.concatenate(([0], np.cumsum((np.diff(number) != 0) | changed)))
    starts = np.flatnonzero(np.concatenate(([True], np.diff(part) != 0)))
    slices = [slice(a, b) for a, b in zip(starts, [*starts[1:], len(log)], strict=True)]
    return DriveLog(
        lat_deg=np.array([np.mean(log.lat_deg[s]) for s in slices]),
        lon_deg=np.array([np.mean(log.lon_deg[s]) for s in slices]),
        level_dbuvm=np.array([np.median(log.level_dbuvm[s]) for s in slices]),
        site=tuple(log.site[s.start] for s in slices),
    )


def _from_rows(rows: list[Row], *, sites: tuple[str, ...]) -> DriveLog:
    """Columns of the rows."""
    lat = np.array([r.number("lat", least=-90.0, greatest=90.0, unit="degrees") for r in rows])
    lon = np.array([r.number("lon", least=-180.0, greatest=180.0, unit="degrees") for r in rows])
    level = np.array([r.number("level_dbuvm", least=-50.0, greatest=160.0, unit="dBuV/m") for r in rows])
    site = tuple(_site(row, sites) for row in rows)
    refuse(rows)
    return DriveLog(lat, lon, level, site)


def _site(row: Row, sites: tuple[str, ...]) -> str:
    """The site of a row, empty for all on air."""
    text = row.text("site", empty=True)
    if text in ("", ALL_ON_AIR):
        return ""
    return row.one_of("site", (*sites, ALL_ON_AIR))


def _gpx(content: bytes, *, source: str, sites: tuple[str, ...]) -> DriveLog:
    """Points of a GPX file: level in an element `level_dbuvm`, or as the text of name, cmt or desc."""
    expected = "lat, lon and a level in dBuV/m"
    found, problems = [], []
    for number, point in enumerate(gpx_points(content, source=source, expected=expected), start=1):
        try:
            found.append((point.lat_deg, point.lon_deg, *_gpx_level(point.texts, sites=sites)))
        except ValueError as error:
            problems.append(
                Problem(
                    f"{source} point {number}", str(error), expected, code="point-unreadable", values={"point": number}
                )
            )
    if problems or not found:
        nothing = Problem(source, "holds no points", "track points with levels", code="file-empty")
        raise PlanError(problems[:20] or [nothing])
    lat, lon, level, site = zip(*found, strict=True)
    return DriveLog(np.array(lat), np.array(lon), np.array(level), tuple(site))


def _gpx_level(texts: Mapping[str, str], *, sites: tuple[str, ...]) -> tuple[float, str]:
    """Level and site of one point."""
    written = texts.get("level_dbuvm") or next((texts[k] for k in ("name", "cmt", "desc") if texts.get(k)), "")
    level = _TEXT_LEVEL.fullmatch(written)
    if level is None:
        raise ValueError(f"its level is {written!r}" if written else "has no level")
    site = texts.get("site", "")
    if site not in ("", ALL_ON_AIR, *sites):
        raise ValueError(f"its site is {site!r}, which is not known")
    return float(level[1].replace(",", ".")), "" if site == ALL_ON_AIR else site
