"""The ground as a picture beneath the map's layers."""

import numpy as np
from numpy.typing import NDArray

from sfn.reception.coverage import Coverage
from sfn.terrain.shade import hillshade

_PAPER, _DARK = np.array([250, 247, 238]), np.array([128, 124, 112])


def shaded(made: Coverage) -> NDArray[np.uint8]:
    """Hillshade of the ground of a coverage as RGBA pixels, shape (rows, columns, 4); clear where there is none."""
    return shade_of(made.rx_ground_m.reshape(made.grid.shape), step_m=made.grid.pixel_m)


def shade_of(height_m: NDArray[np.float32] | NDArray[np.float64], *, step_m: float) -> NDArray[np.uint8]:
    """Hillshade of heights on square pixels as RGBA, shape (rows, columns, 4); clear where no height is known."""
    light = hillshade(height_m, step_x_m=step_m, step_y_m=step_m, exaggeration_factor=1.5)
    share = np.clip(np.nan_to_num(light, nan=1.0), 0.0, 1.0)[..., None]
    rgb = (_DARK + (_PAPER - _DARK) * share).round().astype(np.uint8)
    alpha = np.where(np.isfinite(height_m), 255, 0).astype(np.uint8)
    return np.dstack([rgb, alpha])
