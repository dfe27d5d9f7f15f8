"""What changes while a stream is recorded: restarts, other sources, steps of a clock; and its packet time by name."""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

SEQUENCE_ROUND, STAMP_ROUND = 65_536, 2**32  # RFC 3550 5.1
RESTART_PACKETS = 3000  # a jump of numbers beyond this is a new beginning unless time explains it (RFC 3550 A.1)
MISORDER_PACKETS = 100  # numbers that fall back by less are late packets (RFC 3550 A.1)
LATER_PATH_S = 2.0  # a fall of numbers that would be a longer delay than this is no longer path
FALL_HELD_PACKETS, FALL_LEAST_PACKETS = 50, 10  # that a fall lasts; at the end of a file
CLOCK_BACK_S = 0.01  # arrivals in a file never go back by themselves
STEP_US = 200_000.0  # arrivals move by this at once: not within one stretch that tells the packet time
STEADY_RATIO = 0.9  # of neighbouring packets whose time stamps differ by the same
NAMED_WITHIN_RATIO = 500e-6  # clocks in use are nearer to their rate than that

# RTP clock rates in use, and packet times in use where there are no time stamps. [Hz], [s]
CLOCK_RATES_HZ = (
    8000,
    16_000,
    22_050,
    24_000,
    32_000,
    44_100,
    48_000,
    88_200,
    90_000,
    96_000,
    128_000,
    176_400,
    192_000,
)
PACKET_TIMES_S = (
    *(Fraction(n, 24_000) for n in (3, 6, 8, 12, 24, 48, 60, 72, 96, 120, 240, 480, 576, 960, 1440)),
    *(Fraction(n, rate) for rate in (32_000, 44_100, 48_000) for n in (1024, 1152)),
)


@dataclass(frozen=True, slots=True)
class Change:
    """Something that was not the network.

    Parameters
    ----------
    kind : str
        "restart" (numbers begin anew), "source change", "clock step" (back: taken out of the delays) or "clock or path
        step" (the least delay moved at once and stayed: left in, for a path may do it too).
    at_s : float
        As the file counts time. [s]
    step_us : float or None
        Of a step. [us]
    position : int or None
        Packet that begins anew, counted from the first sent; joined there by the clock.
    source : int or None
        RTP source from there on.
    """

    kind: str
    at_s: float
    step_us: float | None = None
    position: int | None = None
    source: int | None = None

    def as_answer(self) -> dict[str, object]:
        """As ``loss --json`` lists it."""
        source = None if self.source is None else f"{self.source:#010x}"
        return {"kind": self.kind, "at_s": self.at_s, "step_us": self.step_us, "source": source}


def stamp_step(sequence: NDArray[np.int64], stamp: NDArray[np.int64]) -> int | None:
    """Time stamps from one packet to the next; None where they are not steady (several packets of one picture).

    Parameters
    ----------
    sequence, stamp : ndarray of int64, shape (packets,)
    """
    following = np.diff(sequence) % SEQUENCE_ROUND == 1
    moved = np.diff(stamp)[following] % STAMP_ROUND
    if moved.size == 0:
        return None
    values, counts = np.unique(moved, return_counts=True)
    commonest = int(values[counts.argmax()])
    return commonest if commonest > 0 and counts.max() >= STEADY_RATIO * moved.size else None


def fallen_back(
    steps: NDArray[np.int64], waited: NDArray[np.float64], *, packet_time_s: float, ahead_n: int
) -> NDArray[np.int64]:
    """Packets at which the numbers fall back and stay there while arrival goes on: the sender began anew.

    Time stamps may fall back by the same, where an encoder begins both at 0: they excuse nothing.

    Parameters
    ----------
    steps, waited : ndarray, shape (packets,)
        Numbers and time since the packet before. [packets]
    packet_time_s : float
        [s]
    ahead_n : int
        Of these, packets at the end that are only looked at.

    Returns
    -------
    at : ndarray of int64, shape (restarts,)
        A late packet, a copy sent again and a queue that empties at once are none of them; a fall that a path longer by
        2 s could explain neither.
    """
    total_n = steps.size
    longer_s = (waited - steps) * packet_time_s
    least = np.minimum(FALL_HELD_PACKETS, total_n - 1 - np.arange(total_n))
    may = (steps < -MISORDER_PACKETS) & (longer_s > LATER_PATH_S) & (waited > 0) & (least >= FALL_LEAST_PACKETS)
    at = np.flatnonzero(may[: total_n - ahead_n])
    if at.size == 0:
        return at
    place, time = np.cumsum(steps), np.cumsum(waited)
    following = np.minimum(at[:, None] + np.arange(FALL_HELD_PACKETS + 1), total_n - 1)
    stays = place[following].max(1) < place[at] - steps[at] - MISORDER_PACKETS // 2
    paced = time[at + least[at]] - time[at] > least[at] / 2
    held: NDArray[np.bool_] = stays & (paced | (steps[at] < -RESTART_PACKETS))
    return np.asarray(at[held], dtype=np.int64)


def nominal_packet_time(seen_s: float, *, stamp_step: int | None) -> float | None:
    """The packet time that the sender means, from what its clock or custom allows; None where nothing in use is near.

    Parameters
    ----------
    seen_s : float
        By the receiver's clock. [s]
    stamp_step : int or None

    Examples
    --------
    >>> nominal_packet_time(0.00400004, stamp_step=192), nominal_packet_time(0.0041, stamp_step=None)
    (0.004, None)
    """
    meant = [Fraction(stamp_step, rate) for rate in CLOCK_RATES_HZ] if stamp_step else list(PACKET_TIMES_S)
    near = min(meant, key=lambda one: abs(float(one) / seen_s - 1))
    return float(near) if abs(float(near) / seen_s - 1) < NAMED_WITHIN_RATIO else None
