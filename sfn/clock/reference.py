"""What the reference at a site is worth: antenna cable of its timing receiver, path asymmetry, time scale.

One time scale at all sites: 1 pulse per second aligned to GPS and to UTC differ by a fraction of a microsecond as
broadcast, and time of day by whole seconds; time stamps of one scale read in the other are seconds off.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

from sfn.errors import Problem, Touch, in_range
from sfn.units import SPEED_OF_LIGHT_M_PER_US

TIME_SCALES = ("UTC", "GPS", "TAI", "local")


@dataclass(frozen=True, slots=True)
class Receiver:
    """Timing receiver of one site.

    Parameters
    ----------
    cable_m, velocity_factor : float
        Antenna cable. [m], [1]
    entered_us : float
        Cable compensation entered in the receiver. [us]
    time_scale : str
        One of `TIME_SCALES`.
    """

    cable_m: float
    velocity_factor: float
    entered_us: float
    time_scale: str = "UTC"

    @property
    def error_us(self) -> float:
        """How late its pulse is for want of compensation; negative when too much was entered. [us]"""
        return cable_delay_us(self.cable_m, velocity_factor=self.velocity_factor) - self.entered_us


def cable_delay_us(cable_m: float, *, velocity_factor: float) -> float:
    """Delay of a cable, ``length / (c * velocity factor)``. [us]

    Raises
    ------
    ValueError
        If the length is outside 0 to 10 000 m or the factor outside 0.3 to 1.

    Examples
    --------
    30 m left uncompensated, in ns:

    >>> [round(1000 * cable_delay_us(30, velocity_factor=v)) for v in (0.83, 0.66)]
    [121, 152]
    """
    in_range("cable_m", cable_m, least=0, greatest=10_000, unit="m")
    in_range("velocity_factor", velocity_factor, least=0.3, greatest=1.0, unit="(of the speed of light)")
    return cable_m / (SPEED_OF_LIGHT_M_PER_US * velocity_factor)


def asymmetry_error_us(forward_us: float, *, back_us: float) -> float:
    """Time error of two-way time transfer over unequal ways: half the difference. [us]

    Raises
    ------
    ValueError
        If a delay is negative.

    Examples
    --------
    10 m of fibre (group index 1.468) more one way, in ns:

    >>> print(f"{1000 * asymmetry_error_us(10 * 1.468 / 299.792458, back_us=0.0):.1f}")
    24.5
    """
    in_range("forward_us", forward_us, least=0, greatest=60e6, unit="us")
    in_range("back_us", back_us, least=0, greatest=60e6, unit="us")
    return 0.5 * (forward_us - back_us)


def reference_problems(receivers: Mapping[str, Receiver], *, tolerance_us: float) -> list[Problem]:
    """Sites whose time scale differs from that of most, and cables that cost more than the tolerance.

    Where no scale is that of more than half of the sites, all of them are in doubt.

    Parameters
    ----------
    receivers : mapping of site to Receiver
    tolerance_us : float
        What the service bears. [us]
    """
    found: list[Problem] = []
    usual = _usual(receivers)
    kept = ", ".join(f"{count} {scale}" for scale, count in Counter(r.time_scale for r in receivers.values()).items())
    for site, receiver in receivers.items():
        where, touches, scale = f"receivers.{site}", (Touch(site),), ("time_scale",)
        if receiver.time_scale not in TIME_SCALES:
            found.append(
                Problem(
                    f"{where}.time_scale", f"is {receiver.time_scale!r}", f"one of {', '.join(TIME_SCALES)}", "error",
                    code="time-scale-unknown", touches=touches, stages=(), fields=scale,
                    said={"kept": receiver.time_scale, "scales": ", ".join(TIME_SCALES)},
                )
            )  # fmt: skip
        elif receiver.time_scale != usual or receiver.time_scale == "local":
            others = f"most sites {usual}" if usual else f"and no scale is that of most sites ({kept})"
            what = f"keeps {receiver.time_scale} time, {others}: time stamps are whole seconds off"
            expected = "the same broadcast time scale at all sites"
            found.append(
                Problem(
                    f"{where}.time_scale", what, expected, "error",
                    code="time-scale-differs", touches=touches, stages=(), fields=scale,
                    said={"kept": receiver.time_scale, "usual": usual, "all_kept": kept},
                )
            )  # fmt: skip
        if abs(receiver.error_us) > tolerance_us:
            what = f"{receiver.error_us:+.3f} us of antenna cable left uncompensated"
            found.append(
                Problem(
                    f"{where}.entered_us",
                    what,
                    f"within {tolerance_us:g} us",
                    "warning",
                    code="cable-uncompensated",
                    touches=touches,
                    stages=(),
                    fields=("entered_us",),
                    values={"error_us": receiver.error_us, "tolerance_us": tolerance_us},
                    said={"error_said": f"{receiver.error_us:+.3f} us"},
                )
            )
    return found


def _usual(receivers: Mapping[str, Receiver]) -> str | None:
    """The broadcast scale that more than half of the sites keep: without one nobody knows who is right."""
    scales = Counter(
        r.time_scale for r in receivers.values() if r.time_scale in TIME_SCALES and r.time_scale != "local"
    )
    most, count = scales.most_common(1)[0] if scales else (None, 0)
    return most if 2 * count > scales.total() else None
