"""The engine: delays, field strength, reception, offsets and measurements of single-frequency networks.

A library to import in a notebook, and a command line (``python -m sfn``). Plain functions and frozen
records, arrays in and arrays out; no web, no database, no state. In the order of the job:

`plan`        the network document and its records
`geodesy`     positions as people write them, geodesics, travel times, map grids
`chain`       latency and tolerance of a route
`timing`      common delay, added delay, settings, launch times
`pairs`       two sites on their line, loops of three
`antenna`, `terrain`, `propagation`, `field`   what each site radiates and how strong it arrives
`systems`     broadcast systems: OFDM, FM stereo, 8-VSB, with their published tables
`reception`   what a listener gets: at a point, over an area, along a road
`solve`       timing offsets that serve the most people
`stream`, `clock`   links to the transmitters and the clocks at them
`survey`      measurements taken on air, reconciled with the plan
`check`       every problem of a document
`report`, `study`, `answer`   numbers as people and scripts read them
`library`     the front door: six functions for notebooks, which ``import sfn`` offers
"""

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sfn.kept_code import keep_somewhere

if TYPE_CHECKING:
    from sfn.errors import PlanError, Problem
    from sfn.library.coverage import CoverageAnswer, coverage
    from sfn.library.delays import DelayAnswer, delay_table
    from sfn.library.opened import Opened, demos, load, load_demo
    from sfn.library.point import PointAnswer, point
    from sfn.library.search import OptimiseAnswer, optimise
    from sfn.study.lever_try import Lever
    from sfn.study.what_if import WhatIf

keep_somewhere(Path(__file__).parent, os.environ)

__version__ = "0.1.0"
__all__ = [
    "CoverageAnswer",
    "DelayAnswer",
    "Lever",
    "Opened",
    "OptimiseAnswer",
    "PlanError",
    "PointAnswer",
    "Problem",
    "WhatIf",
    "coverage",
    "delay_table",
    "demos",
    "load",
    "load_demo",
    "optimise",
    "point",
]

# Where each name lives. Imported when first asked for: reception and search load numba, which takes seconds.
_HOMES = {
    "errors": ("PlanError", "Problem"),
    "study.what_if": ("WhatIf",),
    "study.lever_try": ("Lever",),
    "library.opened": ("Opened", "demos", "load", "load_demo"),
    "library.delays": ("DelayAnswer", "delay_table"),
    "library.point": ("PointAnswer", "point"),
    "library.coverage": ("CoverageAnswer", "coverage"),
    "library.search": ("OptimiseAnswer", "optimise"),
}


def __getattr__(name: str) -> Any:
    """One of `__all__`."""
    import importlib

    for home, names in _HOMES.items():
        if name in names:
            return getattr(importlib.import_module(f"sfn.{home}"), name)
    raise AttributeError(f"module 'sfn' has no attribute {name!r}")


def __dir__() -> list[str]:
    """What ``dir(sfn)`` lists."""
    return sorted({*globals(), *__all__})
