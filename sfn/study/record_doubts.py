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


def comparison_doubts(taken: Sequence[Measured]) -> tuple[Problem, ...]:
    """Two records compared in part: once a sender has begun anew no copies are matched (`sfn.stream.joint.overlap`)."""
    begun_s = [change.at_s for one in taken for change in one.changes if change.position is not None]
    if len(taken) < 2 or not begun_s:
        return ()
    begin_s = max(one.origin_s for one in taken)
    end_s = min(one.origin_s + one.delay_us.size * one.packet_time_s for one in taken)
    at_s, packet_s = min(begun_s), taken[0].packet_time_s
    compared_n, left_n = round((at_s - begin_s) / packet_s), round((end_s - at_s) / packet_s)
    if left_n <= 0:
        return ()
    return (
        Problem(
            "second capture",
            f"is compared with the first up to {at_s:.3f} s, where a sender begins anew: {counted(left_n, 'packet')} "
            f"of the {compared_n + left_n} that both records span are in no figure of both paths, and from there on "
            "the hours have the delays of the first path alone",
            "two records without a restart or a change of source, or a pair of records for each part",
            severity="warning",
            code="records-compared-in-part",
            values={"at_s": at_s, "compared_n": compared_n, "left_n": left_n},
        ),
    )
