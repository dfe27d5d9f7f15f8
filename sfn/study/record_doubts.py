"""What makes the figures of a record doubtful, beside its length."""

from collections.abc import Sequence

from sfn.errors import Problem
from sfn.stream.measured import Measured
from sfn.units import counted

DRIFT_DOUBT_PPB = 100_000.0  # crystal oscillators keep within that (common practice)


def lossless_doubts(taken: Sequence[Measured]) -> tuple[Problem, ...]:
    """Records without a loss: how losses come there, no protection can be judged by."""
    return tuple(
        Problem(
            name,
            f"lost none of {counted(one.delay_us.size, 'packet')} in {one.delay_us.size * one.packet_time_s:.3g} s: "
            "how long its bursts are is not known, so no FEC, repeat or second path is credited with anything",
            "a record with losses in it, longer or of a worse hour; every figure here is the most that this one leaves "
            "room for (99 %), losses one by one",
            severity="warning",
            code="record-without-losses",
            values={"packets_n": int(one.delay_us.size), "record_s": one.delay_us.size * one.packet_time_s},
        )
        for name, one in zip(("capture", "second capture"), taken, strict=False)
        if not one.lost.any()
    )


def drift_doubts(taken: Sequence[Measured]) -> tuple[Problem, ...]:
    """Rates that no clock of a broadcaster has: something else tilts the delays."""
    return tuple(
        Problem(
            name,
            f"shows a drift of {one.drift_ppb / 1000:+.0f} us/s, taken out of the delays",
            f"at most {DRIFT_DOUBT_PPB / 1000:.0f} us/s (common practice for crystal oscillators): a path that grows "
            "longer, steps that were not told apart, or a wrong packet time; --keep-drift shows the delays with it",
            severity="warning",
            code="drift-beyond-oscillators",
            values={"drift_ppb": one.drift_ppb},
        )
        for name, one in zip(("capture", "second capture"), taken, strict=False)
        if one.drift_ppb is not None and abs(one.drift_ppb) > DRIFT_DOUBT_PPB
    )
