"""`sfn.antenna.attenuation` compiled, for a million places at a time: tables straight between their angles."""

import math
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

Singles = NDArray[np.float32]
compiled = njit(cache=True, nogil=True, error_model="numpy", _nrt=False)  # type: ignore[call-overload] # not in its stubs


@compiled
def _at(x: float, table: Any, least: float) -> float:
    """A table's attenuation at an angle, straight between its rows and level beyond them; 0 without a table. [dB]"""
    angle, loss, starts = table
    last = len(angle) - 1
    if last < 0:
        return 0.0
    if x <= angle[0]:
        return loss[0]  # type: ignore[no-any-return]
    if x >= angle[last]:
        return loss[last]  # type: ignore[no-any-return]
    row = max(starts[min(max(math.floor(x - least), 0), len(starts) - 1)], 0)
    while angle[row + 1] < x:
        row += 1
    part = (x - angle[row]) / (angle[row + 1] - angle[row])
    return loss[row] + part * (loss[row + 1] - loss[row])  # type: ignore[no-any-return]


@compiled
def _towards(off: float, elevation: float, plane: Any) -> float:
    """What one plane radiates in a direction of the antenna's own. [dBk]"""
    erp, horizontal, vertical = plane
    return erp - _at(off, horizontal, 0.0) - _at(elevation, vertical, -90.0)  # type: ignore[no-any-return]


@compiled
def radiated_db(
    bearing: Singles, elevation: Singles, turned: Any, first: Any, second: Any, stronger: bool, out: Singles
) -> None:
    """E.r.p. towards places over 1 kW, of the first plane or of the stronger of two, into `out`.

    `turned`: azimuth, electrical and mechanical tilt. [degrees]
    """
    azimuth, electrical, mechanical = turned
    for j in range(len(bearing)):
        if bearing[j] != bearing[j] or elevation[j] != elevation[j]:
            out[j] = np.nan
            continue
        off = bearing[j] - azimuth  # both from 0 to 360
        if off < 0.0:
            off += 360.0
        above = elevation[j] + electrical
        if mechanical != 0.0:
            above += mechanical * math.cos(math.radians(off))
        level = _towards(off, above, first)
        if stronger:
            level = max(level, _towards(off, above, second))
        out[j] = level
