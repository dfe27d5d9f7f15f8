"""Free space: ITU-R P.525, exact physics, and the constants of P.1812."""

import numpy as np

from sfn.propagation.free_space import field_strength, free_space_loss, slant_loss

P525 = "ITU-R P.525, eq. (3), with c = 299 792 458 m/s"
P1812_8 = "ITU-R P.1812, eq. (8), worked out by hand"
P1812_70 = "ITU-R P.1812, eq. (70), worked out by hand"


def test_loss_at_one_kilometre_and_one_gigahertz(published):
    """The reference loss of free space is met with the exact speed of light."""
    ours = float(free_space_loss(1.0, frequency_mhz=1000.0))
    published("free space, 1 km, 1 GHz", ours, 92.447783, tolerance=1e-6, unit="dB", source=P525)


def test_exact_physics_and_the_rounded_form_differ_by_the_rounding(published):
    """P.1812's 92.4 costs 0.048 dB against exact physics, and no more."""
    exact = float(free_space_loss(50.0, frequency_mhz=600.0))
    rounded = float(slant_loss(50.0, frequency_mhz=600.0))
    published("free space, 50 km, 600 MHz", exact, 121.990208, tolerance=1e-6, unit="dB", source=P525)
    published("Lbfs, 50 km, 600 MHz, level", rounded, 121.942425, tolerance=1e-6, unit="dB", source=P1812_8)
    published(
        "P.1812 constant against exact physics", rounded, exact, tolerance=0.05, unit="dB", source=P525,
        reason="P.1812 rounds 92.448 to 92.4",
    )  # fmt: skip


def test_field_of_one_kilowatt_at_one_kilometre(published):
    """1 kW e.r.p. gives 106.96 dB(uV/m) at 1 km whatever the frequency, and physics agrees to the rounding."""
    for frequency_mhz in (30.0, 98.0, 600.0, 6000.0):
        ours = float(field_strength(slant_loss(1.0, frequency_mhz=frequency_mhz), frequency_mhz=frequency_mhz))
        published(
            f"1 kW e.r.p. at 1 km, {frequency_mhz:g} MHz", ours, 106.96, tolerance=1e-9, unit="dBuV/m", source=P1812_70
        )
    half_wave_dipole = 20.0 * np.log10(np.sqrt(30.0 * 1000.0 * 1.640922376984585) / 1000.0 * 1e6)
    published(
        "1 kW in a half-wave dipole at 1 km", ours, float(half_wave_dipole), tolerance=0.04, unit="dBuV/m",
        source="E = sqrt(30 P G)/d with the dipole's gain 1.64092 (2.151 dBi)", reason="P.1812 rounds its constants",
    )  # fmt: skip


def test_field_of_one_watt_isotropic_at_one_kilometre(published):
    """1 W e.i.r.p. at 1 km: loss and wavelength give P.525's field strength."""
    loss_db = float(free_space_loss(1.0, frequency_mhz=300.0))
    # received power of an isotropic antenna -> field: E = P - 20 log10(lambda) + 10 log10(480 pi^2), in dB(V/m)
    wavelength_m = 299.792458 / 300.0
    ours = -loss_db - 20 * np.log10(wavelength_m) + 10 * np.log10(480 * np.pi**2) + 120.0
    published(
        "1 W e.i.r.p. at 1 km", float(ours), 74.771, tolerance=1e-3, unit="dBuV/m",
        source="ITU-R P.525, eq. (1): E = sqrt(30 P)/d",
    )  # fmt: skip
