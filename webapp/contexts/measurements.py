"""Measurements taken on air."""

from dataclasses import dataclass
from typing import ClassVar

from sfn.answer.echoes import Echoes
from sfn.answer.reconciled import Reconciled
from sfn.answer.recordings import Measured
from sfn.errors import Problem
from sfn.plan import Site
from sfn.report.delay_course import DelayCourse
from sfn.report.residual_map import ResidualMap
from sfn.survey.measurements import MeasurementTable
from webapp.contexts import Context, NetworkHead
from webapp.measured_rows import Row
from webapp.measurements import EchoForm, MeasurementForm


@dataclass(frozen=True, slots=True)
class MeasurementsPage(Context):
    """Delay differences to reconcile, recordings and impulse responses to measure."""

    TEMPLATE: ClassVar[str] = "measurements.html"
    TAB: ClassVar[str] = "measurements"
    network: NetworkHead
    """Which network, in which revision."""
    sites: tuple[Site, ...]
    """Its sites, one of which may be held."""
    typed: MeasurementForm
    """What was typed or taken from a file."""
    table: MeasurementTable | None
    """The same line by line as it was understood, once there is any."""
    answer: Reconciled | None
    """Launch errors, once measurements are there."""
    drawing: ResidualMap | None
    """Where the residuals lie."""
    stages: dict[str, tuple[str, ...]]
    """Stages of each site that may take up its launch error."""
    names: dict[str, str]
    """Site names by id."""
    echo: EchoForm
    """What was typed about an impulse response."""
    echoes: Echoes | None
    """Echoes given to sites, once a response is there."""
    problems: tuple[Problem, ...]
    """What cannot be used."""
    rows: tuple[Row, ...]
    """What the network keeps, the newest first."""


@dataclass(frozen=True, slots=True)
class RecordingPage(Context):
    """The delay of one or two recordings."""

    TEMPLATE: ClassVar[str] = "recording.html"
    TAB: ClassVar[str] = "measurements"
    network: NetworkHead
    """Which network, in which revision."""
    measured: Measured
    """The delay, or why there is none."""
    course: DelayCourse | None
    """The delay over the time of the recording."""
