"""Field strength from what a receiver reads: voltage or power at its input, behind a cable and an antenna.

| symbol | name | unit |
|---|---|---|
| E | field strength | dB(uV/m) |
| U | voltage at the receiver's input | dB(uV) |
| P | power at the receiver's input | dBm |
| K | antenna factor, ``E - U`` at the antenna's terminals | dB(1/m) |
| a | loss of the cable | dB |
| G | gain of the antenna over isotropic | dB |
| R | impedance of receiver and antenna | ohm |

``U = P + 90 + 10 lg R``: 1 mW in R makes ``sqrt(R / 1000)`` V. A plane wave of field E brings an isotropic antenna
``Pr = E^2 lambda^2 / (480 pi^2)``: ITU-R P.525, conversion formulas, "isotropically received power for a given field
strength", ``Pr = E - 20 lg f - 167.2`` with Pr in dBW and f in GHz (equation from memory; its constant is 167.18).
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from sfn.errors import PlanError, Problem
from sfn.units import SPEED_OF_LIGHT_M_PER_US

LevelUnit = Literal["dBuV/m", "dBuV", "dBm"]
UNITS: tuple[LevelUnit, ...] = ("dBuV/m", "dBuV", "dBm")
RANGES_DB: dict[LevelUnit, tuple[float, float]] = {"dBuV/m": (-50, 160), "dBuV": (-40, 150), "dBm": (-150, 30)}
"""What a receiver may read; beyond it stands a mark for "no reading"."""
_ISOTROPIC = 10 * np.log10(480.0 * np.pi**2)


@dataclass(frozen=True, slots=True)
class Receiver:
    """What stands between the field and the reading; `antenna_factor_db` or `antenna_gain_dbi`, one of them."""

    antenna_factor_db: float | None = None
    antenna_gain_dbi: float | None = None
    cable_loss_db: float = 0.0
    impedance_ohm: float = 50.0


def input_voltage_dbuv(power_dbm: float, *, impedance_ohm: float = 50.0) -> float:
    """Voltage of a power: ``U = P + 90 + 10 lg R``. [dB(uV)]

    Examples
    --------
    The 107 dB of every measuring receiver of 50 ohm:

    >>> print(f"{input_voltage_dbuv(0.0):.2f} {input_voltage_dbuv(0.0, impedance_ohm=75.0):.2f}")
    106.99 108.75
    """
    return float(power_dbm + 90.0 + 10 * np.log10(impedance_ohm))


def field_of_power_dbuvm(power_dbm: float, *, frequency_mhz: float, gain_dbi: float = 0.0) -> float:
    """Field in which an antenna of that gain gives that power to a matched receiver. [dB(uV/m)]

    Examples
    --------
    ITU-R P.525: 0 dBW (30 dBm) out of an isotropic antenna at 1 GHz stand for 167.2 dB(uV/m):

    >>> print(f"{field_of_power_dbuvm(30.0, frequency_mhz=1000.0):.1f}")
    167.2
    """
    wavelength_m = SPEED_OF_LIGHT_M_PER_US / frequency_mhz
    return float(power_dbm - 30.0 - gain_dbi - 20 * np.log10(wavelength_m) + _ISOTROPIC + 120.0)


def antenna_factor_db(gain_dbi: float, *, frequency_mhz: float, impedance_ohm: float = 50.0) -> float:
    """Antenna factor of a gain, both matched to one impedance. [dB(1/m)]

    Examples
    --------
    ``K = 20 lg f - G - 29.78`` in 50 ohm (common practice); a half-wave dipole at 100 MHz:

    >>> print(f"{antenna_factor_db(2.15, frequency_mhz=100.0):.2f}")
    8.08
    """
    field = field_of_power_dbuvm(0.0, frequency_mhz=frequency_mhz, gain_dbi=gain_dbi)
    return field - input_voltage_dbuv(0.0, impedance_ohm=impedance_ohm)


def to_field_db(unit: LevelUnit, receiver: Receiver, *, frequency_mhz: float | None, where: str) -> tuple[float, str]:
    """What is added to a reading to make it field strength, and how that came about, in words.

    Parameters
    ----------
    unit : str
        Of the reading.
    receiver : Receiver
    frequency_mhz : float or None
        Needed with a gain. [MHz]
    where : str
        What messages call the log.

    Raises
    ------
    PlanError
        If antenna factor and gain are both missing, both given, or a value makes no sense.
    """
    if unit == "dBuV/m":
        return 0.0, "field strength as logged"
    _usable(receiver, unit=unit, frequency_mhz=frequency_mhz, where=where)
    volts_db = input_voltage_dbuv(0.0, impedance_ohm=receiver.impedance_ohm) if unit == "dBm" else 0.0
    factor_db, told = receiver.antenna_factor_db, "antenna factor"
    if factor_db is None:
        gain_dbi, told = receiver.antenna_gain_dbi or 0.0, f"antenna factor of {receiver.antenna_gain_dbi:g} dBi"
        factor_db = antenna_factor_db(
            gain_dbi, frequency_mhz=frequency_mhz or 0.0, impedance_ohm=receiver.impedance_ohm
        )
    steps = [f"E = {'P' if unit == 'dBm' else 'U'}"]
    if unit == "dBm":
        steps.append(f"{volts_db:.2f} (dBm to dBuV in {receiver.impedance_ohm:g} ohm)")
    steps.append(f"{factor_db:.2f} dB/m ({told})")
    steps.append(f"{receiver.cable_loss_db:g} dB of cable")
    return volts_db + factor_db + receiver.cable_loss_db, " + ".join(steps).replace("+ -", "- ")


def _usable(receiver: Receiver, *, unit: str, frequency_mhz: float | None, where: str) -> None:
    """Refuse what does not make a field of a reading."""
    factor, gain = receiver.antenna_factor_db, receiver.antenna_gain_dbi
    if factor is None and gain is None:
        what = f"was logged in {unit}, at the receiver's input"
        expected = "the antenna factor in dB/m, or the antenna's gain in dBi; and the loss of the cable"
        fields = ("antenna_factor_db", "antenna_gain_dbi")
        raise PlanError([Problem(where, what, expected, code="antenna-factor-missing", fields=fields)])
    if factor is not None and gain is not None:
        what, expected = "antenna factor and gain are both given", "one of them: they say the same"
        raise PlanError([Problem("antenna_gain_dbi", what, expected, code="antenna-given-twice")])
    if factor is None and not frequency_mhz:
        what, expected = "a gain makes an antenna factor at one frequency only", "the network's frequency_mhz"
        raise PlanError([Problem("frequency_mhz", what, expected, code="frequency-missing")])
    for name, value, low, high in (
        ("antenna_factor_db", factor, -20.0, 80.0),
        ("antenna_gain_dbi", gain, -40.0, 30.0),
        ("cable_loss_db", receiver.cable_loss_db, -40.0, 60.0),
        ("impedance_ohm", receiver.impedance_ohm, 10.0, 600.0),
    ):
        if value is not None and not low <= value <= high:
            what, expected = f"{value:g} is out of range", f"{low:g} to {high:g}"
            raise PlanError([Problem(name, what, expected, code="out-of-range", fields=(name,))])
