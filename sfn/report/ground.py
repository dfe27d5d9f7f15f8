"""The ground as a picture beneath the map's layers."""

import numpy as np
from numpy.typing import NDArray

from sfn.reception.coverage import Coverage
from sfn.terrain.shade import hillshade

_PAPER, _DARK = np.array([250, 247, 238]), np.array([128, 124, 112])


def shaded(made: Coverage) -> NDArray[np.uint8]:
    """Hillshade of the ground of a coverage as RGBA pixels, shape (rows, columns, 4); clear where there is none."""
    height = made.rx_ground_m.reshape(made.grid.shape)
    light = hillshade(height, step_x_m=made.grid.pixel_m, step_y_m=made.grid.pixel_m, exaggeration_factor=1.5)
    share = np.clip(np.nan_to_num(light, nan=1.0), 0.0, 1.0)[..., None]
    rgb = (_DARK + (_PAPER - _DARK) * share).round().astype(np.uint8)
    alpha = np.where(np.isfinite(height), 255, 0).astype(np.uint8)
    return np.dstack([rgb, alpha])
