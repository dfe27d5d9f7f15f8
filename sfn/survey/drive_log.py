"""Levels logged on the road: a table as a receiver writes it, or GPX with levels in its points."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sfn.errors import PlanError, Problem, at_most
from sfn.geodesy.line import inverse
from sfn.geodesy.meridian import beside, folded
from sfn.plan.sheets import content_of
from sfn.survey.log_about import About, Reading
from sfn.survey.receiver_log import ALL_ON_AIR, Skipped, receiver_log

Floats = NDArray[np.float64]

USUAL = Reading()
_MOST_LISTED = 1000


@dataclass(frozen=True, slots=True)
class Origin:
    """Which log it was, how it was read, and which of its lines were left out."""

    name: str = "log"
    lines_n: int = 0
    skipped: tuple[Skipped, ...] = ()
    other_channels_n: int = 0
    told: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()

    def as_json(self, used_n: int) -> dict[str, Any]:
        """For the answers of commands; of the lines left out the first thousand are listed."""
        return {
            "log": self.name,
            "lines_n": self.lines_n,
            "used_n": used_n,
            "other_channels_n": self.other_channels_n,
            "skipped_n": len(self.skipped),
            "skipped": [{"line": one.line, "why": one.why} for one in self.skipped[:_MOST_LISTED]],
            "read_as": list(self.told),
        }


@dataclass(frozen=True, slots=True)
class DriveLog:
    """Levels in the order in which they were logged; `site` is empty where all sites on air count."""

    lat_deg: Floats
    lon_deg: Floats
    level_dbuvm: Floats
    site: tuple[str, ...]
    origin: Origin = field(default_factory=Origin)

    def __len__(self) -> int:
        """Number of samples."""
        return len(self.lat_deg)


def read_log(path: Path | str, *, sites: tuple[str, ...], of: About | None = None, how: Reading = USUAL) -> DriveLog:
    """A drive-test log; GPX by its suffix, else CSV or XLSX.

    Parameters
    ----------
    path : path
    sites : tuple of str
        Ids that the column `site` may hold, besides "all" and nothing.
    of : About, optional
        The network: tells swapped coordinates and other channels.
    how : Reading
        What the log does not say itself.

    Raises
    ------
    PlanError
        If something that moves all lines is open, or no line can be used; problems name file, line and column (GPX:
        point by its number).
    """
    path = Path(path)
    content = content_of(path, expected="a CSV, XLSX or GPX file")
    return log_of_bytes(content, source=path.name, sites=sites, of=of, how=how)


def log_of_bytes(
    content: bytes, *, source: str, sites: tuple[str, ...], of: About | None = None, how: Reading = USUAL
) -> DriveLog:
    """The same from a file's content; GPX by the suffix of `source`, else CSV or XLSX."""
    read = receiver_log(content, source=source, of=of or About(sites), how=how)
    return DriveLog(read.lat_deg, read.lon_deg, read.level_dbuvm, read.site, Origin(
        source, read.lines_n, read.skipped, read.other_channels_n, read.told, read.problems
    ))  # fmt: skip


def log_of(text: str, *, source: str, sites: tuple[str, ...]) -> DriveLog:
    """The same from CSV text that is already here."""
    return log_of_bytes(text.encode(), source=source, sites=sites)


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
    if wrong:
        raise PlanError(at_most(wrong, source=source))
    if not levels:
        raise PlanError([Problem(source, "holds no levels", "lat, lon and a level in dBuV/m each", code="file-empty")])
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
        lon_deg=folded([np.mean(beside(log.lon_deg[s], float(log.lon_deg[s][0]))) for s in slices]),
        level_dbuvm=np.array([np.median(log.level_dbuvm[s]) for s in slices]),
        site=tuple(log.site[s.start] for s in slices),
    )
