"""The answer of ``calibrate``: drive-test logs beside the levels that the plan predicts."""

import copy
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from sfn.errors import PlanError, Problem
from sfn.plan import Network
from sfn.survey.calibrate import DOMINANCE_DB, Calibration, calibrate
from sfn.survey.drive_log import DriveLog, Origin, stretches
from sfn.survey.prediction import planned_levels
from sfn.terrain.ground import Ground


@dataclass(frozen=True, slots=True)
class Calibrated:
    """A calibration with the road that it stands on."""

    network: Network
    found: Calibration
    road: DriveLog
    samples_n: int
    stretch_m: float
    origins: tuple[tuple[Origin, int], ...] = ()
    """Each log as it was read, and how many of its lines were used."""

    @property
    def problems(self) -> tuple[Problem, ...]:
        """What must be said with the numbers: of the lines of each log, then of the comparison."""
        names = ", ".join(origin.name for origin, _ in self.origins) or "log"
        found = (replace(p, where=names) if p.where == "log" else p for p in self.found.problems)
        return (*(p for origin, _ in self.origins for p in origin.problems), *found)


def calibrated(
    network: Network,
    logs: Sequence[DriveLog],
    *,
    alone: str | None = None,
    sectors_n: int = 8,
    stretch_m: float = 100.0,
    dominance_db: float = DOMINANCE_DB,
    rx_height_m: float | None = None,
    ground: Ground | None = None,
) -> Calibrated:
    """Prediction minus measurement per site and sector.

    Parameters
    ----------
    network : Network
    logs : sequence of DriveLog
    alone : str, optional
        The site on air alone, where a log does not say.
    sectors_n, dominance_db
        As `sfn.survey.calibrate.calibrate`.
    stretch_m : float
        Road taken together. [m]
    rx_height_m : float, optional
        Receiving antenna above ground; the network's receiver where not given. [m]
    ground : Ground, optional
        Terrain; a smooth earth without it.

    Raises
    ------
    PlanError
        If a value is out of range, `alone` is no site, or a position cannot be read.
    """
    sites = tuple(site.id for site in network.sites)
    _refuse(sites, alone=alone, sectors_n=sectors_n, stretch_m=stretch_m, rx_height_m=rx_height_m)
    told = [DriveLog(g.lat_deg, g.lon_deg, g.level_dbuvm, tuple(s or alone or "" for s in g.site)) for g in logs]
    parts = [stretches(log, stretch_m=stretch_m) for log in told]
    road = DriveLog(
        np.concatenate([p.lat_deg for p in parts]),
        np.concatenate([p.lon_deg for p in parts]),
        np.concatenate([p.level_dbuvm for p in parts]),
        tuple(s for p in parts for s in p.site),
    )
    level, bearing = planned_levels(network, road.lat_deg, road.lon_deg, ground=ground, rx_height_m=rx_height_m)
    heard = network.transmitting
    on_air = np.array([site.id in heard for site in network.sites])
    found = calibrate(
        road.level_dbuvm,
        predicted_dbuvm=np.where(on_air[:, None], level, np.nan),
        bearing_deg=bearing,
        sites=sites,
        alone=road.site,
        sectors_n=sectors_n,
        dominance_db=dominance_db,
    )
    origins = tuple((log.origin, len(log)) for log in logs)
    return Calibrated(network, found, road, sum(len(log) for log in logs), stretch_m, origins)


def shifts_of(answer: Calibrated) -> dict[str, tuple[float, ...]]:
    """Shifts that a calibration offers, by site: one a sector where sectors stand out, else one all round. [dB]

    A sector without a shift of its own takes that of the whole site, 0 where that does not stand out either.
    """
    found = answer.found
    offered = {}
    for whole in found.whole:
        round_db = whole.shift_db if whole.significant else 0.0
        sectors = [s for s in found.sectors if s.site == whole.site]
        by_sector = tuple(round(s.shift_db if s.significant else round_db, 2) + 0.0 for s in sectors)
        if any(s.significant for s in sectors):
            offered[whole.site] = by_sector
        elif whole.significant:
            offered[whole.site] = (round(round_db, 2) + 0.0,)
    return offered


def with_shifts(
    document: Mapping[str, Any],
    shifts_db: Mapping[str, Sequence[float]],
    *,
    withdrawn: Collection[str] = (),
    source: str,
    day: str,
) -> dict[str, Any]:
    """A network's document with shifts accepted, and others withdrawn.

    Parameters
    ----------
    document : mapping
    shifts_db : mapping of site id to shifts
        At even bearings from 0 degrees on. [dB]
    withdrawn : collection of str
        Sites that stand on the model alone again.
    source, day : str
        Where the shifts come from, and when they were accepted.
    """
    made = copy.deepcopy(dict(document))
    for site in made["sites"]:
        if site["id"] in withdrawn:
            site.pop("level_shift", None)
        if site["id"] in shifts_db:
            site["level_shift"] = {"sectors_db": list(shifts_db[site["id"]]), "source": source, "date": day}
    return made


def _refuse(
    sites: tuple[str, ...], *, alone: str | None, sectors_n: int, stretch_m: float, rx_height_m: float | None
) -> None:
    """Arguments that make no sense."""
    problems = []
    if alone and alone not in sites:
        problems.append(
            Problem(
                "alone",
                f"there is no site {alone}",
                f"one of {', '.join(sites)}",
                code="unknown-site",
                fields=("alone",),
                values={"site": alone},
            )
        )
    if not 1 <= sectors_n <= 72:
        problems.append(
            Problem("sectors", f"cannot be {sectors_n}", "1 to 72", code="out-of-range", fields=("sectors",))
        )
    if not 1 <= stretch_m <= 10_000:
        problems.append(
            Problem("stretch_m", f"cannot be {stretch_m:g}", "1 to 10000 m", code="out-of-range", fields=("stretch_m",))
        )
    if rx_height_m is not None and not 1 <= rx_height_m <= 3000:
        problems.append(
            Problem(
                "rx_height_m", f"cannot be {rx_height_m:g}", "1 to 3000 m", code="out-of-range", fields=("rx_height_m",)
            )
        )
    if problems:
        raise PlanError(problems)
