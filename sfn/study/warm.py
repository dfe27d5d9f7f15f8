"""Compile what maps need once on a machine: ``python -m sfn.study.warm``; what is compiled is kept beside the code.

Without it the first map of each kind compiles in the program itself: half a minute of one core in which other pages
wait, 0.6 s at a time, for the interpreter that the compiler holds.
"""

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np

from sfn.field.along import LevelsAlong
from sfn.field.transmitter import Transmitter
from sfn.geodesy.grid import grid_for
from sfn.geodesy.sites import place
from sfn.plan import read_file
from sfn.plan.demos import demo_files
from sfn.propagation import kernels
from sfn.reception import drawn_kernels
from sfn.reception.coverage import coverage
from sfn.reception.point import point_quality
from sfn.reception.quality import yardstick
from sfn.study.point import tried_signals
from sfn.study.what_if import WhatIf, tried
from sfn.study.zones import zones
from sfn.systems import fm_share_kernels
from sfn.terrain.ground import open_ground

PIXEL_M = 10_000.0
REACH_DEG = 0.2


def compiled() -> bool:
    """Whether field model, digital and FM maps are kept here, for any processor and version of the code."""
    kept = {
        "kernels.walk": kernels.walk.stats.cache_path,
        "drawn_kernels.drawn_points": drawn_kernels.drawn_points.stats.cache_path,
        "fm_share_kernels.pair_margins": fm_share_kernels.pair_margins.stats.cache_path,
    }
    return all(any(Path(folder).glob(f"{name}-*.nbi")) for name, folder in kept.items())


def warm() -> None:
    """Work out one line over a smooth earth, then small maps of the demos: what these need is compiled on the way."""
    site = Transmitter("warm", 50.0, 10.0, 100.0, 50.0, 1.0, 0.0, 100.0, 45.0, 325.0)
    LevelsAlong(site, 0.0, 10_000.0, ground=None, rx_height_m=1.5, plane=None)(np.array([50.0, 5_000.0]))
    with ThreadPoolExecutor(1) as executor:
        for file in demo_files():  # FM over terrain, digital networks on a plain
            _mapped(file, executor)


def _mapped(file: Path, executor: ThreadPoolExecutor) -> None:
    """A map of a few pixels of a network with all that is drawn, and one of its places."""
    network = read_file(file)
    placed = place(network)
    launches = tried(network, WhatIf(), placed=placed).launches
    at = next(iter(placed.values()))
    bounds = (at.lat_deg - REACH_DEG, at.lon_deg - REACH_DEG, at.lat_deg + REACH_DEG, at.lon_deg + REACH_DEG)
    grid = grid_for(bounds, pixel_m=PIXEL_M)
    ground = open_ground(network, folder=file.parent, anywhere=True)
    levels = coverage(network, grid, placed=placed, ground=ground, executor=executor)
    for people in (None, np.ones(grid.pixels_n)):
        zones(network, levels, launches, people=people, drawn=True, executor=executor)
    found, now = tried_signals(network, WhatIf(), lat_deg=at.lat_deg, lon_deg=at.lon_deg + REACH_DEG / 2, ground=ground)
    point_quality(now.network, found, yardstick(now.network))


if __name__ == "__main__":
    warm()
