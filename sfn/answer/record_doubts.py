"""What makes the figures of a record doubtful, beside its length."""

from collections.abc import Sequence

from sfn.errors import Problem
from sfn.stream.measured import Measured

DRIFT_DOUBT_PPB = 100_000.0  # crystal oscillators keep within that (common practice)


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
