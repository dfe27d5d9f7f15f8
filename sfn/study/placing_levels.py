"""Levels of a map with one more site: that site's own, beside those that are there already."""

from dataclasses import replace

import numpy as np

from sfn.reception.coverage import Coverage
from sfn.terrain.ground import coarsest


def joined(computed: Coverage, one: Coverage) -> Coverage:
    """A map's levels with those of further sites over the same grid behind them.

    Parameters
    ----------
    computed, one : Coverage
        Over one grid; stations with other programmes are those of the first.

    Raises
    ------
    ValueError
        If the grids differ.
    """
    if computed.grid != one.grid:
        raise ValueError(f"levels must be over one grid, got {computed.grid} and {one.grid}")
    return replace(
        computed,
        sites=(*computed.sites, *one.sites),
        level_dbuvm=np.concatenate([computed.level_dbuvm, one.level_dbuvm]),
        level_1pct_dbuvm=np.concatenate([computed.level_1pct_dbuvm, one.level_1pct_dbuvm]),
        travel_us=np.concatenate([computed.travel_us, one.travel_us]),
        tx_elevation_deg=np.concatenate([computed.tx_elevation_deg, one.tx_elevation_deg]),
        radiating=(*computed.radiating, *one.radiating),
        covered=computed.covered & one.covered,
        smooth=computed.smooth and one.smooth,
        averaged=coarsest(computed.averaged, one.averaged),
        gains={},
        bearings={},
    )
