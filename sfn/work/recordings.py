"""Recordings by order: long ones are read where there is a core to spare. Their files lie in the data folder."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sfn.plan import Network
from sfn.propagation.link import SweepCancelled
from sfn.study.arrivals import Arrivals, arrivals
from sfn.study.recordings import Measured, measured
from sfn.survey.alignment import Tell
from sfn.terrain.named import NamedGround
from sfn.work.desk import Desk
from sfn.work.rasters import grounds_of


@dataclass(frozen=True, slots=True)
class RecordingsAsked:
    """One or two recordings whose delay is asked for.

    Parameters
    ----------
    paths : tuple of str
        Within the data folder.
    wishes : mapping
        What else `sfn.study.recordings.measured` takes, by name.
    """

    paths: tuple[str, ...]
    wishes: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class ArrivalsAsked:
    """A recording in which every arrival is asked for.

    Parameters
    ----------
    recording, reference : str
        Within the data folder.
    network : Network or None
    ground : NamedGround or None
    wishes : mapping
        What else `sfn.study.arrivals.arrivals` takes, by name.
    """

    recording: str
    reference: str
    network: Network | None
    ground: NamedGround | None
    wishes: Mapping[str, Any]


def recordings(asked: RecordingsAsked, desk: Desk) -> Measured:
    """The delay.

    Raises
    ------
    PlanError
        If a file, a channel or a value cannot be used.
    """
    return measured([desk.data_folder / path for path in asked.paths], tell=_tell(desk), **asked.wishes)


def all_arrivals(asked: ArrivalsAsked, desk: Desk) -> Arrivals:
    """The arrivals.

    Raises
    ------
    PlanError
        If a file or a value cannot be used, or the terrain is another here.
    """
    ground = None if asked.ground is None else grounds_of(desk.terrain_folder).opened(asked.ground)
    return arrivals(
        desk.data_folder / asked.recording, desk.data_folder / asked.reference, network=asked.network, ground=ground,
        tell=_tell(desk), **asked.wishes,
    )  # fmt: skip


def _tell(desk: Desk) -> Tell:
    """How far it is; ends it where the job is to stop."""

    def tell(phase: str, *, done: int, total: int) -> None:
        if desk.cancelled():
            raise SweepCancelled
        desk.tell(phase, done=done, total=total)

    return tell
