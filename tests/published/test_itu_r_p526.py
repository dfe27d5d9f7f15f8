"""Spherical-earth diffraction: the validation document of ITU-R Study Group 3, and the reference implementation.

Sources: "SG3" = ITU-R Study Group 3, validation document of the delta-Bullington method (rows that need no profile,
a = 8500 km, land, horizontal); "reference" = output of the Study Group's Python implementation of P.1812.
"""

import math

import pytest
from scipy.special import fresnel

from sfn.propagation import smooth_earth
from sfn.propagation.bullington import knife_edge_loss
from sfn.propagation.smooth_earth import LAND, diffraction_loss, effective_radius, marginal_distance

SG3 = "ITU-R SG 3, delta-Bullington validation document"
REFERENCE = "ITU-R SG 3, reference implementation of P.1812 (DN 45)"
HUNDREDTH_OF_A_DB = 0.01
P1812_COEFFICIENTS = "P.1812 rounds the coefficients of P.526"

BEYOND_FAR = [
    (1000.0, 37.97366242, 119.2363492, 69.454342),
    (2500.0, 57.97664284, 99.82603022, 85.538637),
    (600.0, 27.97366242, 109.2363492, 66.316477),
    (200.0, 47.97366242, 139.2363492, 45.754735),
    (150.0, 78.00115495, 99.67579634, 43.353618),
]


@pytest.mark.parametrize(("frequency_mhz", "hte", "hre", "theirs"), BEYOND_FAR)
def test_beyond_the_horizon_at_132_km(published, frequency_mhz, hte, hre, theirs):
    """Loss of five paths far beyond the horizon."""
    ours = diffraction_loss(
        132.315397, frequency_mhz=frequency_mhz, tx_height_m=hte, rx_height_m=hre, radius_km=8500.0, polarisation="H"
    )
    published(
        f"Ldsph, 132.3 km, {frequency_mhz:g} MHz", float(ours), theirs, tolerance=HUNDREDTH_OF_A_DB, unit="dB",
        source=SG3, reason=P1812_COEFFICIENTS,
    )  # fmt: skip


def test_terms_of_the_first_row(published):
    """Distance and height terms of the first row, one by one."""
    admittance = smooth_earth.surface_admittance(frequency_mhz=1000.0, radius_km=8500.0, ground=LAND, polarisation="H")
    beta = (1 + 1.6 * admittance**2 + 0.67 * admittance**4) / (1 + 4.5 * admittance**2 + 1.53 * admittance**4)
    terms = {
        "F(X)": (smooth_earth.distance_term(21.88 * beta * 8500.0 ** (-2 / 3) * 132.315397), -102.9062648),
        "G(Y1)": (
            smooth_earth.height_term(0.9575 * beta**2 * 8500.0 ** (-1 / 3) * 37.97366242, K=admittance),
            7.408105,
        ),
        "G(Y2)": (
            smooth_earth.height_term(0.9575 * beta**2 * 8500.0 ** (-1 / 3) * 119.2363492, K=admittance),
            26.043819,
        ),
    }
    for name, (ours, theirs) in terms.items():
        published(
            f"{name}, 132.3 km, 1 GHz", float(ours), theirs, tolerance=0.02, unit="dB", source=SG3,
            reason=P1812_COEFFICIENTS,
        )  # fmt: skip


SHORTER = [
    (1000.0, 83.07993853, 211.3366061, 30.0, 15.348584),
    (600.0, 83.07993853, 204.7165548, 20.0, 20.913849),
    (150.0, 83.07993853, 252.3138569, 5.0, 33.138837),
    (200.0, 83.07993853, 215.727222, 50.0, 14.329336),
    (150.0, 17.39688966, 152.2011247, 5.664441408, 10.637652),
]


@pytest.mark.parametrize(("frequency_mhz", "distance_km", "hte", "hre", "theirs"), SHORTER)
def test_near_and_inside_the_horizon(published, frequency_mhz, distance_km, hte, hre, theirs):
    """Three paths just beyond the horizon and two inside it, where the loss is interpolated."""
    ours = diffraction_loss(
        distance_km, frequency_mhz=frequency_mhz, tx_height_m=hte, rx_height_m=hre, radius_km=8500.0, polarisation="H"
    )
    published(
        f"Ldsph, {distance_km:.1f} km, {frequency_mhz:g} MHz", float(ours), theirs, tolerance=HUNDREDTH_OF_A_DB,
        unit="dB", source=SG3, reason=P1812_COEFFICIENTS,
    )  # fmt: skip


REFERENCE_ROWS = [
    (50.0, 600.0, 0.0, "H", 10.871446),
    (50.0, 600.0, 0.0, "V", 10.873897),
    (100.0, 600.0, 0.0, "H", 44.207452),
    (100.0, 600.0, 0.0, "V", 44.203321),
    (100.0, 100.0, 1.0, "H", 41.620972),
    (100.0, 100.0, 1.0, "V", 38.102111),
]


@pytest.mark.parametrize(("distance_km", "frequency_mhz", "sea_ratio", "polarisation", "theirs"), REFERENCE_ROWS)
def test_polarisation_matters_over_sea(published, distance_km, frequency_mhz, sea_ratio, polarisation, theirs):
    """Both polarisations over land and sea, 150 m and 10 m, at DN 45."""
    ours = diffraction_loss(
        distance_km, frequency_mhz=frequency_mhz, tx_height_m=150.0, rx_height_m=10.0,
        radius_km=effective_radius(45.0), polarisation=polarisation, sea_ratio=sea_ratio,
    )  # fmt: skip
    ground = "sea" if sea_ratio else "land"
    published(
        f"Ldsph, {distance_km:g} km, {frequency_mhz:g} MHz, {ground}, {polarisation}", float(ours), theirs,
        tolerance=1e-6, unit="dB", source=REFERENCE,
    )  # fmt: skip


def test_effective_radius(published):
    """Median effective radius from DN, and the one for beta0 % of time."""
    source = "ITU-R P.1812, eq. (6) and (7), worked out by hand"
    for delta_n, theirs in ((45.0, 8930.776786), (39.25, 8494.666667), (0.0, 6371.0)):
        published(f"ae at DN {delta_n:g}", effective_radius(delta_n), theirs, tolerance=1e-6, unit="km", source=source)
    published("abeta", smooth_earth.BETA0_RADIUS_KM, 19113.0, tolerance=0.0, unit="km", source=source)


def test_marginal_distance(published):
    """Line of sight over the smooth earth ends where eq. (22) says."""
    radius_km = effective_radius(45.0)
    for hte, hre, theirs in ((150.0, 10.0, 65.126021), (300.0, 10.0, 86.566256), (37.5, 1.5, 31.056785)):
        ours = float(marginal_distance(tx_height_m=hte, rx_height_m=hre, radius_km=radius_km))
        published(
            f"dlos, {hte:g} m and {hre:g} m", ours, theirs, tolerance=1e-6, unit="km",
            source="ITU-R P.1812, eq. (22), worked out by hand",
        )  # fmt: skip


@pytest.mark.parametrize(
    ("nu", "approximate_db", "exact_db"),
    [
        (0.0, 6.032852, 6.020600),
        (0.5, 10.287804, 10.233830),
        (1.0, 13.925729, 13.864105),
        (2.0, 19.042860, 19.090962),
        (2.4, 20.539266, 20.618195),
        (5.0, 26.813581, 26.936198),
    ],
)
def test_knife_edge(published, nu, approximate_db, exact_db):
    """The approximation J(nu), the Fresnel integrals it stands for, and how far the two are apart."""
    ours = knife_edge_loss(nu)
    published(
        f"J({nu:g})", ours, approximate_db, tolerance=1e-6, unit="dB",
        source="ITU-R P.526, approximation of J(nu), worked out by hand",
    )  # fmt: skip
    s, c = fresnel(nu)
    physics = -20.0 * math.log10(math.hypot(1.0 - c - s, c - s) / 2.0)
    published(f"Fresnel integrals at {nu:g}", physics, exact_db, tolerance=1e-6, unit="dB", source="scipy.special")
    published(
        f"J({nu:g}) against physics", ours, physics, tolerance=0.13, unit="dB", source="scipy.special.fresnel",
        reason="P.526's approximation, good to 0.13 dB up to nu = 5",
    )  # fmt: skip


def test_an_edge_far_below_costs_nothing():
    """From nu = -0.78 down the loss is exactly zero."""
    assert [knife_edge_loss(nu) for nu in (-0.78, -1.0, -50.0)] == [0.0, 0.0, 0.0]
