"""What is the same for every receiver of a sweep, worked out once."""

import math

import numpy as np
from numpy.typing import NDArray

from sfn.propagation.link import Link
from sfn.propagation.location import inverse_normal
from sfn.propagation.smooth_earth import (
    BETA0_RADIUS_KM,
    LAND,
    SEA,
    WAVELENGTH_AT_1_GHZ_M,
    effective_radius,
    surface_admittance,
)
from sfn.propagation.sweep_formulas import Model

Floats = NDArray[np.float64]


def model_of(link: Link, *, lat_deg: float, step_km: float) -> Model:
    """Everything that is the same for all receivers."""
    f, ae = link.frequency_mhz / 1000.0, effective_radius(link.delta_n)
    K_land, K_sea = (
        float(
            surface_admittance(
                frequency_mhz=link.frequency_mhz, radius_km=1.0, ground=ground, polarisation=link.polarisation
            )
        )
        for ground in (LAND, SEA)
    )
    Alf = 45.375 - 137.0 * f + 92.5 * f * f if f < 0.5 else 0.0
    Lf = 25.0 * math.log10(f) - 2.5 * math.log10(f / 2.0) ** 2
    latitude = math.radians(lat_deg)
    return Model(
        step=step_km, lam=WAVELENGTH_AT_1_GHZ_M / f, f=f, f_root=f ** (1 / 3), htg=link.tx_height_m,
        hrg=link.rx_height_m, ae=ae, q50=500.0 / ae, qb=500.0 / BETA0_RADIUS_KM, ae_root=ae ** (-1 / 3),
        ab_root=BETA0_RADIUS_KM ** (-1 / 3), K_land=K_land, K_sea=K_sea, x0=21.88 * f ** (1 / 3),
        y0=0.9575 * f ** (2 / 3), L0=92.4 + 20.0 * math.log10(f), A0=102.45 + 20.0 * math.log10(f) + Alf,
        gamma_d=5e-5 * ae * f ** (1 / 3), s0=190.1 + Lf - 0.15 * link.surface_refractivity_n0,
        latitude=latitude, sin_lat=math.sin(latitude), cos_lat=math.cos(latitude), rare=min(link.time_pct) < 50.0,
    )  # fmt: skip


def percentages_of(time_pct: tuple[float, ...]) -> Floats:
    """p, ln p, log10(p / 50), I(p / 100), rare scatter: one column a percentage."""
    return np.array(
        [
            time_pct,
            [math.log(p) for p in time_pct],
            [math.log10(p / 50.0) for p in time_pct],
            [inverse_normal(p / 100.0) for p in time_pct],
            [10.125 * math.log10(50.0 / p) ** 0.7 for p in time_pct],
        ],
        dtype=np.float64,
    )
