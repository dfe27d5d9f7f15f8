"""Levels and runs logged on the road."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

from sfn.answer.calibrated import Calibrated
from sfn.answer.driven import Driven
from sfn.errors import Problem
from sfn.plan import Site
from sfn.report.run_strips import RunStrips
from sfn.survey.drive_log import Origin
from webapp.contexts import Context, NetworkHead


@dataclass(frozen=True, slots=True)
class DrivesPage(Context):
    """Drive-test logs beside the prediction, and runs of one route at several settings."""

    TEMPLATE: ClassVar[str] = "drives.html"
    TAB: ClassVar[str] = "measurements"
    network: NetworkHead
    """Which network, in which revision."""
    sites: tuple[Site, ...]
    """Its sites, one of which may have been on air alone."""
    names: dict[str, str]
    """Site names by id."""
    job: str
    """Of the comparison that is shown; empty without one."""
    offered: dict[str, tuple[float, ...]]
    """Shifts that it offers, by site. [dB]"""
    calibrated: Calibrated | None
    """Prediction minus measurement, once a log is there."""
    sides: tuple[tuple[Driven, RunStrips], ...]
    """Runs side by side and their drawing, a pair for each road, once they are there."""
    side_problems: tuple[Problem, ...]
    """What must be said of the runs together."""
    run_origins: tuple[tuple[Origin, int], ...]
    """How the log of each run was read, and how many of its lines were used."""
    frequency_mhz: float
    """Of the network."""
    run_numbers: tuple[int, ...]
    """Runs that the form takes."""
    typed: Mapping[str, str]
    """What was typed and could not be used."""
    problems: tuple[Problem, ...]
    """What cannot be used."""

    def moved_keys(self, made: Mapping[str, Any]) -> Mapping[str, Any]:
        """One road's runs, from the time when there was only one: the first of `sides`."""
        driven, strips = next(iter(made["sides"]), (None, None))
        return {"driven": driven, "strips": strips}
