"""The network document: what it may say, and how it is read.

The same document stands in files, in the store, in the API and on the command line. `document` holds
the records, `stage` the steps of a chain, `reading` turns text into a `Network` or into problems that
name their place, and `checksum` tells two revisions apart.
"""

from sfn.plan.antenna import Antenna, PlanePattern
from sfn.plan.document import (
    Chain,
    CommonDelay,
    DelayField,
    Network,
    Site,
)
from sfn.plan.ground import CoverClass, CoverSource, TerrainSource, ZoneClass, ZoneSource
from sfn.plan.listeners import ListenerSource, Place
from sfn.plan.off_air import OffAir
from sfn.plan.others import OtherTransmitter
from sfn.plan.position import Position, Power
from sfn.plan.reading import checksum, read, read_document, read_file, written
from sfn.plan.receiver import Receiver, ReceiverWindow, Thresholds
from sfn.plan.record import FieldName, PersonName, SiteName
from sfn.plan.stage import Stage
from sfn.plan.time_stamps import TimeStamps
from sfn.plan.weight import Weight
from sfn.plan.work_order import WorkOrder

__all__ = [
    "Antenna",
    "Chain",
    "CommonDelay",
    "CoverClass",
    "CoverSource",
    "DelayField",
    "FieldName",
    "ListenerSource",
    "Network",
    "OffAir",
    "OtherTransmitter",
    "PersonName",
    "Place",
    "PlanePattern",
    "Position",
    "Power",
    "Receiver",
    "ReceiverWindow",
    "Site",
    "SiteName",
    "Stage",
    "TerrainSource",
    "Thresholds",
    "TimeStamps",
    "Weight",
    "WorkOrder",
    "ZoneClass",
    "ZoneSource",
    "checksum",
    "read",
    "read_document",
    "read_file",
    "written",
]
