"""An analogue FM composite as samples: which rate its highest frequency asks for.

Sampled at fs, what lies above fs - f folds back below f. The anti-alias filter may so take from f to fs - f to fall:
its transition is ``fs - 2 f`` [1]. Both are entries: of the rate, of the transition, of neither.

References
----------
[1] C. E. Shannon, "Communication in the presence of noise", Proc. IRE 37 (1949), theorem 1: fs above 2 f.
[2] AES5, preferred sampling frequencies for pulse-code modulation: 48 kHz and its multiples 96, 192 and 384 kHz, which
    AES3 carries to 192 kHz; 44.1 kHz leaves 20 kHz audio a transition of 4.1 kHz. From memory.
"""

from fractions import Fraction

from sfn.errors import in_range
from sfn.stream.payload import Payload, samples
from sfn.units import exact

PREFERRED_RATES_HZ = (48_000, 96_000, 192_000, 384_000)  # [2]
# Where nobody says how wide the filter falls: a fifth of the highest frequency, as 44.1 kHz leaves audio of 20 kHz [2].
TRANSITION_RATIO = Fraction(1, 5)


def composite_sample_rate(
    highest_khz: float | Fraction,
    *,
    sample_rate_hz: int | None = None,
    transition_khz: float | Fraction | None = None,
) -> int:
    """Sample rate of a composite signal, chosen or checked. [Hz]

    Parameters
    ----------
    highest_khz : float
        Highest frequency that must pass unharmed. [kHz]
    sample_rate_hz : int, optional
        As the converter has it; where not given, the least of `PREFERRED_RATES_HZ` to leave the filter room. [Hz]
    transition_khz : float, optional
        Least width in which the anti-alias filter falls; where neither is given a fifth of `highest_khz`. [kHz]

    Raises
    ------
    ValueError
        If `highest_khz` is outside 15 to 100 kHz, `transition_khz` is outside 0 to 200 kHz, or the rate leaves less
        than the transition, or none at all.

    Examples
    --------
    >>> [composite_sample_rate(f) for f in (20, 40, 60, 100)]
    [48000, 96000, 192000, 384000]
    >>> composite_sample_rate(60, sample_rate_hz=128_000)
    128000
    """
    in_range("highest_khz", float(highest_khz), least=15.0, greatest=100.0, unit="kHz")
    highest_hz = 1000 * exact(highest_khz)
    if transition_khz is not None:
        in_range("transition_khz", float(transition_khz), least=0.0, greatest=200.0, unit="kHz")
    if sample_rate_hz is None:
        wanted_hz = TRANSITION_RATIO * highest_hz if transition_khz is None else 1000 * exact(transition_khz)
        fitting = [rate for rate in PREFERRED_RATES_HZ if rate > 2 * highest_hz and rate >= 2 * highest_hz + wanted_hz]
        if not fitting:
            most_khz = float(PREFERRED_RATES_HZ[-1] - 2 * highest_hz) / 1000
            raise ValueError(f"transition_khz must be from 0 to {most_khz:g} kHz, got {float(wanted_hz) / 1000:g}")
        return fitting[0]
    left_hz = sample_rate_hz - 2 * highest_hz
    if left_hz <= 0:
        raise ValueError(f"sample_rate_hz must be above {float(2 * highest_hz):g} Hz, got {sample_rate_hz}")
    if transition_khz is not None and left_hz < 1000 * exact(transition_khz):
        least_hz = float(2 * highest_hz + 1000 * exact(transition_khz))
        raise ValueError(f"sample_rate_hz must be {least_hz:g} Hz or more for that filter, got {sample_rate_hz}")
    return sample_rate_hz


def composite(
    highest_khz: float | Fraction,
    *,
    bits: int,
    sample_rate_hz: int | None = None,
    transition_khz: float | Fraction | None = None,
) -> Payload:
    """Analogue composite, sampled at the rate given, or at that which its highest frequency asks for.

    Raises
    ------
    ValueError
        If `bits` is outside 8 to 32, or as `composite_sample_rate` says.
    """
    rate_hz = composite_sample_rate(highest_khz, sample_rate_hz=sample_rate_hz, transition_khz=transition_khz)
    what = f"composite to {float(highest_khz):g} kHz, {rate_hz / 1000:g} kHz x {bits} bit"
    return samples("composite", what, sample_rate_hz=rate_hz, bits=bits, channels=1)
