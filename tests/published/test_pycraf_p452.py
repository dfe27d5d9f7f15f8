"""Delta-Bullington diffraction beside pycraf's P.452, an independent implementation; skipped where it is not installed.

The two Recommendations share the method. What remains between the two programs: P.1812's reference takes 2.998e8 m/s
for the speed of light, pycraf 299 792 458. pycraf is GPLv3 and never a dependency.
"""

import numpy as np
import pytest

from sfn.propagation.p1812 import path_loss

pathprof = pytest.importorskip("pycraf.pathprof", reason="pycraf is an optional peer")
u = pytest.importorskip("astropy.units")


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("polarisation", ["H", "V"])
@pytest.mark.filterwarnings("ignore")  # pycraf's and astropy's own
def test_median_diffraction_loss(published, seed, polarisation):
    """Ld50 of random hills agrees to a thousandth of a dB."""
    rng = np.random.default_rng(seed)
    count, length_km = int(rng.integers(50, 400)), rng.uniform(5.0, 150.0)
    distance_km = np.linspace(0.0, length_km, count)
    relief_m = rng.choice([5.0, 40.0, 150.0])
    waves = [np.sin(distance_km * 2 * np.pi / rng.uniform(0.5, 60.0) + rng.uniform(0.0, 7.0)) for _ in range(12)]
    ground_m = relief_m * (rng.random(12) @ np.array(waves))
    ground_m -= ground_m.min()
    frequency_mhz = float(10 ** rng.uniform(np.log10(120.0), 3.7))
    theirs = pathprof.PathProp(
        frequency_mhz * u.MHz, 290 * u.K, 1013 * u.hPa, 7 * u.deg, 50 * u.deg, 7 * u.deg,
        (50 + length_km / 111.2) * u.deg, 150 * u.m, 10 * u.m, distance_km[1] * u.km, 50 * u.percent,
        polarization="HV".index(polarisation), hprof_dists=distance_km * u.km, hprof_heights=ground_m * u.m,
        hprof_bearing=0 * u.deg, hprof_backbearing=180 * u.deg, delta_N=45 / u.km, N0=325 * u.dimensionless_unscaled,
    )  # fmt: skip
    ours = path_loss(
        distance_km, ground_m, frequency_mhz=frequency_mhz, tx_height_m=150.0, rx_height_m=10.0,
        polarisation=polarisation, time_pct=50.0, latitude_deg=50.0,
    )  # fmt: skip
    published(
        f"Ld50, {length_km:.1f} km, {frequency_mhz:.0f} MHz, {polarisation}", ours.intermediates["Ld50"],
        float(pathprof.loss_diffraction(theirs)[0].value), tolerance=1e-3, unit="dB", source="pycraf, ITU-R P.452",
        reason="the rounded speed of light",
    )  # fmt: skip
