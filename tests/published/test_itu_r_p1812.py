"""ITU-R P.1812: formulas worked out by hand, and values of the Study Group's reference implementation.

Sources: "formula" = equation of the Recommendation worked out by hand; "reference" = output of the Python reference
implementation of ITU-R Study Group 3, with DN 45 and N0 325; "validation" = its validation results.
"""

import numpy as np
import pytest
from scipy.stats import norm

from sfn.propagation.anomalous import scatter_loss
from sfn.propagation.horizons import anomalous_time
from sfn.propagation.location import inverse_normal, location_loss, location_sigma
from sfn.propagation.p1812 import path_loss

REFERENCE = "ITU-R SG 3, reference implementation of P.1812"
VALIDATION = "ITU-R SG 3, validation results of P.1812, profile rburg"
FORMULA_97 = "ITU-R P.1812, eq. (96) and (97), worked out by hand"
GE06 = "GE06 agreement, 5.5 dB (from memory); 9 and 2.9 dB quoted there for 95 and 70 %"
KM_PER_DEGREE = 6371.0 * np.pi / 180.0


@pytest.mark.parametrize(
    ("latitude_deg", "dtm", "dlm", "theirs", "source"),
    [
        (50.0, 100.0, 100.0, 1.308429, REFERENCE),
        (40.0, 50.0, 50.0, 2.652056, REFERENCE),
        (60.0, 10.0, 10.0, 4.214748, REFERENCE),
        (50.0, 0.0, 0.0, 8.317638, REFERENCE),
        (75.0, 100.0, 100.0, 0.327443, REFERENCE),
        (48.58877213, 96.2, 96.2, 1.442216533, VALIDATION),
    ],
)
def test_anomalous_time(published, latitude_deg, dtm, dlm, theirs, source):
    """beta0 on land, by the sea, at sea and in the far north."""
    ours = anomalous_time(latitude_deg=latitude_deg, dtm=dtm, dlm=dlm)
    published(
        f"beta0, {latitude_deg:g} deg, dtm {dtm:g}, dlm {dlm:g}", ours, theirs, tolerance=1e-6, unit="%", source=source
    )


@pytest.mark.parametrize(("x", "theirs"), [(0.01, 2.3267854), (0.05, 1.6452115), (0.1, 1.2817288), (0.3, 0.5240020)])
def test_inverse_normal(published, x, theirs):
    """The approximation I(x), and how near the exact quantile it is."""
    ours = inverse_normal(x)
    published(f"I({x:g})", ours, theirs, tolerance=1e-7, unit="", source=FORMULA_97)
    published(
        f"I({x:g}) against the exact quantile", ours, float(norm.isf(x)), tolerance=5.4e-4, unit="",
        source="scipy.stats.norm", reason="accuracy of the approximation",
    )  # fmt: skip
    published(f"I({1 - x:g})", inverse_normal(1.0 - x), -theirs, tolerance=1e-7, unit="", source=FORMULA_97)


@pytest.mark.parametrize(("location_pct", "theirs"), [(95.0, 9.05), (70.0, 2.88), (90.0, 7.05), (99.0, 12.79)])
def test_location_margin(published, location_pct, theirs):
    """Margin over the median for a percentage of places with 5.5 dB."""
    ours = location_loss(location_pct=location_pct, sigma_db=5.5)
    published(f"margin for {location_pct:g} % of places", ours, theirs, tolerance=0.01, unit="dB", source=GE06)


@pytest.mark.parametrize(
    ("rx_height_m", "width_m", "theirs"),
    [(1.5, 100.0, 1.940289), (1.5, 500.0, 3.044935), (15.0, 100.0, 0.970145), (20.0, 100.0, 0.0)],
)
def test_location_sigma(published, rx_height_m, width_m, theirs):
    """Location variability below, half-way above and well above 10 m of cover."""
    ours = location_sigma(frequency_mhz=600.0, rx_height_m=rx_height_m, cover_m=10.0, width_m=width_m)
    published(
        f"sigma, {rx_height_m:g} m, square of {width_m:g} m", ours, theirs, tolerance=1e-6, unit="dB", source=REFERENCE
    )


@pytest.mark.parametrize(
    ("d", "theta", "frequency_mhz", "N0", "time_pct", "theirs"),
    [
        (100.0, 10.0, 600.0, 325.0, 50.0, 180.850276),
        (100.0, 10.0, 600.0, 325.0, 1.0, 166.177069),
        (200.0, 20.0, 200.0, 320.0, 10.0, 171.726535),
    ],
)
def test_tropospheric_scatter(published, d, theta, frequency_mhz, N0, time_pct, theirs):  # noqa: N803 - P.1812's name
    """Lbs at three percentages of time."""
    ours = scatter_loss(d=d, theta=theta, frequency_mhz=frequency_mhz, time_pct=time_pct, N0=N0)
    published(
        f"Lbs, {d:g} km, {theta:g} mrad, {time_pct:g} %", ours, theirs, tolerance=1e-6, unit="dB", source=REFERENCE
    )


@pytest.mark.parametrize(
    ("frequency_mhz", "distance_km", "tx_height_m", "rx_height_m", "zone", "time_pct", "theirs"),
    [
        (600.0, 50.0, 150.0, 10.0, "inland", 50.0, 132.813905),
        (600.0, 50.0, 150.0, 10.0, "inland", 1.0, 123.364904),
        (600.0, 100.0, 150.0, 10.0, "inland", 50.0, 171.979901),
        (600.0, 100.0, 150.0, 10.0, "inland", 1.0, 137.783784),
        (600.0, 100.0, 150.0, 10.0, "sea", 50.0, 171.979908),
        (600.0, 100.0, 150.0, 10.0, "sea", 1.0, 124.093531),
        (600.0, 10.0, 150.0, 10.0, "inland", 50.0, 107.963876),
        (100.0, 60.0, 300.0, 10.0, "inland", 50.0, 125.843903),
        (200.0, 30.0, 75.0, 1.5, "inland", 50.0, 141.215118),
    ],
)
def test_whole_model_over_flat_ground(
    published, frequency_mhz, distance_km, tx_height_m, rx_height_m, zone, time_pct, theirs
):
    """Lb over flat ground at sea level, step 100 m, from 50 degrees north along the meridian."""
    distances_km = np.arange(round(distance_km * 10) + 1) / 10.0
    ours = path_loss(
        distances_km, np.zeros_like(distances_km), zone=zone, frequency_mhz=frequency_mhz, tx_height_m=tx_height_m,
        rx_height_m=rx_height_m, polarisation="H", time_pct=time_pct,
        latitude_deg=50.0 + distance_km / 2.0 / KM_PER_DEGREE,
    )  # fmt: skip
    published(
        f"Lb, {zone}, {distance_km:g} km, {frequency_mhz:g} MHz, {time_pct:g} %", ours.loss_db, theirs,
        tolerance=1e-5, unit="dB", source=REFERENCE,
    )  # fmt: skip
    published(
        "Ep of the same", ours.field_dbuvm, 199.36 + 20.0 * np.log10(frequency_mhz / 1000.0) - theirs,
        tolerance=1e-5, unit="dBuV/m", source="ITU-R P.1812, eq. (70), from that Lb",
    )  # fmt: skip


def test_smooth_earth_inside_the_whole_model(published):
    """Ldsph of the 50 km path, as the spherical-earth check has it."""
    distances_km = np.arange(501) / 10.0
    ours = path_loss(
        distances_km, 0.0 * distances_km, frequency_mhz=600.0, tx_height_m=150.0, rx_height_m=10.0, polarisation="H",
        time_pct=50.0, latitude_deg=50.0,
    )  # fmt: skip
    published(
        "Ldsph50, flat, 50 km", ours.intermediates["Ldsph50"], 10.871446, tolerance=1e-6, unit="dB", source=REFERENCE
    )
