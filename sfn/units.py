"""Constants, decibels and the native units of delay fields. Nothing else converts.

| symbol | name | unit |
|---|---|---|
| c | `SPEED_OF_LIGHT_M_PER_US` | m/us, exact by definition of the metre |
| N | `refractivity_n` | N-units |
| n | refractive index, `1 + N * 1e-6` | 1 |
"""

import re
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

SPEED_OF_LIGHT_M_PER_US = 299.792458
DEFAULT_REFRACTIVITY_N = 315.0
DBW_TO_DBK_DB = 30.0
# The pilot of FM stereo, 19 kHz: 360 degrees in 52.632 us.
PILOT_DEG_PER_US = 360.0 * 0.019

# Between thousands, and between a number and its unit: narrow, and never a line's end.
THIN = "\u202f"

_PLAIN_UNITS = {"us": Fraction(1), "ms": Fraction(1000), "100ns": Fraction(1, 10), "ns": Fraction(1, 1000)}
_SAMPLES = re.compile(r"samples@(\d+(?:\.\d+)?)")
_CLOCK = re.compile(r"1/(\d+(?:\.\d+)?)MHz")


def grouped(value: float, form: str = "") -> str:
    """A number with its thousands set apart by a narrow space: the one way in every sentence, never a comma.

    Parameters
    ----------
    value : float
    form : str
        As in a format: ``.10g``, ``.0f``, ``+.3f``.

    Examples
    --------
    >>> grouped(250_000.5, ".10g").replace(THIN, " ")
    '250 000.5'
    """
    sign = "+" if form.startswith("+") else ""
    return f"{value:{sign},{form.removeprefix('+')}}".replace(",", THIN)


def unit_said(unit: str) -> str:
    """A delay field's unit behind a number, in words where its own spelling would be read as part of the number.

    Examples
    --------
    >>> [unit_said(unit) for unit in ("us", "100ns", "1/16.384MHz", "samples@48000")]
    ['us', 'steps of 100 ns', 'steps of 1/16.384 MHz', 'samples at 48 kHz']
    """
    if unit.startswith("samples@"):
        return f"samples at {float(unit.removeprefix('samples@')) / 1000:g} kHz"
    if unit.startswith("1/"):
        return f"steps of {unit.replace('MHz', ' MHz')}"
    return "steps of 100 ns" if unit == "100ns" else unit


def written(value: float, digits: int = 10) -> str:
    """A number as people write it: thousands set apart, no nought at the end, never an exponent.

    Parameters
    ----------
    value : float
        Finite.
    digits : int
        Significant ones, as ``.10g`` counts them.

    Examples
    --------
    >>> [written(x).replace(THIN, " ") for x in (1e12, -101000.5, 0.00001, 250.0, 0.0)]
    ['1 000 000 000 000', '-101 000.5', '0.00001', '250', '0']
    """
    plain = f"{Decimal(f'{value:.{digits}g}'):,f}"
    return (plain.rstrip("0").rstrip(".") if "." in plain else plain).replace(",", THIN)


_SPELLED = {
    "us": ("us", "usec", "microsecond", "microseconds"),
    "ms": ("ms", "msec", "millisecond", "milliseconds"),
    "ns": ("ns", "nsec", "nanosecond", "nanoseconds"),
    "100ns": ("100ns", "0.1us", "stepsof100ns", "unitsof100ns"),
    "unknown": ("unknown",),
}
_BY_SPELLING = {spelled: unit for unit, ways in _SPELLED.items() for spelled in ways}
_RATES = (
    re.compile(r"samples?(?:@|at)(?P<rate>\d+(?:\.\d+)?)(?P<kilo>k?)(?:hz)?"),
    re.compile(r"(?P<rate>\d+(?:\.\d+)?)(?P<kilo>k?)hzsamples?"),
)
_PERIOD = re.compile(r"1/(\d+(?:\.\d+)?)mhz")


def unit_written(text: str) -> str:
    """The unit of a delay field that was meant, spelled as documents have it: the one place that reads a typed unit.

    The micro sign and the Greek mu, capitals, blanks and whole words are understood; what is none stays as it was
    typed, for `unit_length_us` to refuse.

    Examples
    --------
    >>> [unit_written(text) for text in ("\u00b5s", "\u03bcS", " MS ", "100 ns", "1/16.384 mhz", "furlongs")]
    ['us', 'us', 'ms', '100ns', '1/16.384MHz', 'furlongs']
    >>> unit_written("samples at 48 kHz"), unit_written("44.1 kHz samples"), unit_written("Samples@48000")
    ('samples@48000', 'samples@44100', 'samples@48000')
    """
    plain = "".join(text.split()).replace("\u00b5", "u").replace("\u03bc", "u").lower()
    if plain in _BY_SPELLING:
        return _BY_SPELLING[plain]
    if found := _PERIOD.fullmatch(plain):
        return f"1/{found[1]}MHz"
    for pattern in _RATES:
        if found := pattern.fullmatch(plain):
            rate = Decimal(found["rate"]) * (1000 if found["kilo"] else 1)
            whole = rate == rate.to_integral_value()
            return f"samples@{int(rate) if whole else rate}"
    return text.strip()


@lru_cache(maxsize=256)
def unit_length_us(unit: str) -> Fraction:
    """Length of one unit of a delay field, exactly.

    Parameters
    ----------
    unit : str
        ``us``, ``ms``, ``ns``, ``100ns``, ``1/16.384MHz`` (any such clock) or ``samples@RATE`` with
        the rate in hertz.

    Returns
    -------
    length_us : fractions.Fraction
        One unit. [us]

    Raises
    ------
    ValueError
        If the text is none of these units, or its rate is zero.

    Notes
    -----
    Exact arithmetic: binary floats miss a third of the exact halves at 0.1 us.

    Examples
    --------
    >>> unit_length_us("samples@48000")
    Fraction(125, 6)
    >>> float(unit_length_us("1/16.384MHz"))
    0.06103515625
    """
    if unit in _PLAIN_UNITS:
        return _PLAIN_UNITS[unit]
    for pattern, scale in ((_SAMPLES, Fraction(1_000_000)), (_CLOCK, Fraction(1))):
        found = pattern.fullmatch(unit)
        if found and Decimal(found[1]) > 0:
            return scale / Fraction(found[1])
    raise ValueError(
        f"unit of a delay field must be us, ms, ns, 100ns, 1/16.384MHz or samples@RATE (samples@48000), got {unit!r}"
    )


@lru_cache(maxsize=16_384)
def exact(number: float | int | str | Decimal | Fraction) -> Fraction:
    """The number as it was written: 0.1 is one tenth, not its nearest binary float."""
    if isinstance(number, float):
        return Fraction(repr(number))
    return Fraction(number)


def refractive_index(refractivity_n: float) -> float:
    """Refractive index of air, ``n = 1 + N * 1e-6`` (ITU-R P.453, eq. (1)).

    Raises
    ------
    ValueError
        If `refractivity_n` is outside 200 to 500 N-units (an index given by mistake falls outside).
    """
    if not 200.0 <= refractivity_n <= 500.0:
        raise ValueError(f"refractivity_n must be from 200 to 500 N-units, got {refractivity_n!r}")
    return 1.0 + refractivity_n * 1e-6


def power_sum_db(levels_db: ArrayLike, *, axis: int = 0) -> NDArray[np.float64]:
    """Sum of powers given in decibels, ``10 log10(sum 10^(L/10))``; NaN entries count as no power.

    Examples
    --------
    >>> print(f"{float(power_sum_db([60.0, 57.0])):.2f}")
    61.76
    """
    levels = np.asarray(levels_db, dtype=np.float64)
    total = np.nansum(10.0 ** (levels / 10.0), axis=axis)
    with np.errstate(divide="ignore"):
        return np.asarray(10.0 * np.log10(total))


def counted(number: float, one: str, many: str = "") -> str:
    """How many of a thing, as people write it: no power of ten, thousands apart, one of it in the singular.

    Parameters
    ----------
    number : float
        A whole number, or a mean: three digits of it are shown, all before its point.
    one : str
        The noun in the singular.
    many : str
        In the plural; with an s where not given.

    Examples
    --------
    >>> counted(1, "packet"), counted(0, "packet"), counted(4.12345, "packet"), counted(70_000, "packet").split()
    ('1 packet', '0 packets', '4.12 packets', ['70', '000', 'packets'])
    """
    whole = float(number).is_integer() or abs(number) >= 1000
    said = f"{number:,.0f}".replace(",", THIN) if whole else f"{number:.3g}"
    return f"{said} {one if said == '1' else many or one + 's'}"


def finite_or_none(value: float | np.floating | None) -> float | None:
    """A number as JSON has it: none where it is missing, NaN or infinite."""
    return None if value is None or not np.isfinite(value) else float(value)


def erp_dbw(erp_kw: float) -> float:
    """Effective radiated power in dBW from kilowatts; -inf for nothing radiated.

    Raises
    ------
    ValueError
        If `erp_kw` is negative.
    """
    if erp_kw < 0:
        raise ValueError(f"erp_kw must be 0 or more kW, got {erp_kw!r}")
    return float(10.0 * np.log10(erp_kw) + DBW_TO_DBK_DB) if erp_kw > 0 else -np.inf
