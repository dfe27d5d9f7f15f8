"""THE place for decimals and unit text: pages, sheets, CSV and the command line all call it.

A non-breaking space stands between number and unit and between thousands, a true minus before negatives,
so that a number never breaks over two lines on a sheet.
"""

import math

from sfn.units import THIN, grouped, unit_said

NOT_COVERED = "–"
# A tenth of a nanosecond: below it a tolerance is nothing.
SMALLEST_DECIMALS_N = 4


def number(value: float | None, decimals: int = 1, *, signed: bool = False) -> str:
    """A number with thousands set apart; a dash where there is none.

    Examples
    --------
    >>> number(106382.6682, 1).replace(THIN, " ")
    '106 382.7'
    >>> number(-12.5, 1, signed=True)
    '−12.5'
    """
    if value is None or not math.isfinite(value):
        return NOT_COVERED
    rounded = round(value, decimals) + 0.0
    text = grouped(abs(rounded), f".{decimals}f")
    sign = "−" if rounded < 0 else "+" if signed and rounded > 0 else ""
    return sign + text


def us(value_us: float | None, decimals: int = 1, *, signed: bool = False) -> str:
    """Microseconds with their unit."""
    return f"{number(value_us, decimals, signed=signed)}{THIN}µs"


def off_by(value_us: float | None, decimals: int = 1) -> str:
    """How far something may be off, with its unit: as many decimals as it takes not to be printed as nothing.

    Examples
    --------
    >>> [off_by(x).replace(THIN, " ") for x in (0.04, 0.26, 0.0)]
    ['0.04 µs', '0.3 µs', '0.0 µs']
    """
    if value_us is not None and math.isfinite(value_us) and 0 < abs(value_us) < 0.5 * 10**-decimals:
        decimals = min(SMALLEST_DECIMALS_N, -math.floor(math.log10(abs(value_us))))
    return us(value_us, decimals)


def ms(value_us: float | None, decimals: int = 4) -> str:
    """Microseconds shown as milliseconds with their unit."""
    return f"{number(None if value_us is None else value_us / 1000.0, decimals)}{THIN}ms"


def km(value_m: float | None, decimals: int = 2) -> str:
    """Metres shown as kilometres with their unit."""
    return f"{number(None if value_m is None else value_m / 1000.0, decimals)}{THIN}km"


def db(value_db: float | None, decimals: int = 1, *, signed: bool = False) -> str:
    """Decibels with their unit."""
    return f"{number(value_db, decimals, signed=signed)}{THIN}dB"


def dbuvm(value_dbuvm: float | None, decimals: int = 1) -> str:
    """A field strength with its unit."""
    return f"{number(value_dbuvm, decimals)}{THIN}dBµV/m"


def native(value: float | None, unit: str, *, signed: bool = False) -> str:
    """A setting in its device's own unit, with exactly the digits it needs; in words where nobody knows it.

    A change bears its sign.

    Examples
    --------
    >>> native(382.7, "us").replace(THIN, " ")
    '382.7 µs'
    >>> native(5106.0, "samples@48000").replace(THIN, " ")
    '5 106 samples at 48 kHz'
    """
    if value is None:
        return "not known"
    decimals = next((d for d in range(9) if math.isclose(round(value, d), value, rel_tol=0, abs_tol=1e-9)), 9)
    return f"{number(value, decimals, signed=signed)}{THIN}{unit_text(unit)}"


def unit_text(unit: str) -> str:
    """A delay field's unit in words for people."""
    return "µs" if unit == "us" else unit_said(unit)


def degrees(value_deg: float, decimals: int = 6) -> str:
    """A coordinate in degrees, for files and addresses."""
    return f"{value_deg:.{decimals}f}"
