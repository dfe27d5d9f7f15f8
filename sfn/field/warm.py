"""Compile the field model once on a machine: ``python -m sfn.field.warm``; what is compiled is kept beside the code.

Without it the first page or command that compares levels waits for the compiler, half a minute of one core.
"""

from pathlib import Path

import numpy as np

from sfn.field.along import LevelsAlong
from sfn.field.transmitter import Transmitter
from sfn.propagation import kernels


def compiled() -> bool:
    """Whether the largest part of it is kept here, for any processor and version of the code."""
    return any(Path(kernels.walk.stats.cache_path).glob("kernels.walk-*.nbi"))


def warm() -> None:
    """Walk one line over a smooth earth; all that this needs is compiled on the way."""
    site = Transmitter("warm", 50.0, 10.0, 100.0, 50.0, 1.0, 0.0, 100.0, 45.0, 325.0)
    LevelsAlong(site, 0.0, 10_000.0, ground=None, rx_height_m=1.5, plane=None)(np.array([50.0, 5_000.0]))


if __name__ == "__main__":
    warm()
