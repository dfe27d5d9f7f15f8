"""What is refused of a recording in which arrivals are looked for, and what is only doubtful."""

from sfn.errors import PlanError, Problem
from sfn.survey.alignment import CLEAR_PEAK_RATIO
from sfn.survey.arrivals.start import Begin

MOST_MISFIT_RATIO = 5.0
"""Above it what is listed does not explain the recording: three arrivals of slow speech within 2 us, told as one."""


def in_common(start: Begin, *, where: str) -> None:
    """Refuse what has nothing in common, or jumps."""
    if start.clear_ratio < CLEAR_PEAK_RATIO:
        what = "nothing of the reference is heard in it"
        expected = "the same programme, the carrier in the middle of the recording, or a wider search"
        raise PlanError([Problem(where, what, expected, code="no-common-signal")])
    if start.jump_us > 150.0:
        raise PlanError([jump(start.jump_us, where=where)])


def jump(jump_us: float, *, where: str) -> Problem:
    """The refusal of a recording that slips."""
    what = f"the delay jumps by about {jump_us:.3g} us within the recording"
    expected = "a stretch without lost samples, without a changed setting and with the receiver at rest"
    return Problem(where, what, expected, code="delay-jumps", values={"jump_us": jump_us})


def unexplained(misfit_ratio: float, *, where: str) -> Problem:
    """A doubt of a recording that the arrivals listed do not explain."""
    what = f"its misfit is {misfit_ratio:.1f}: the arrivals listed do not explain it, one may stand for several"
    expected = (
        f"about 1, at most {MOST_MISFIT_RATIO:g}: music or noise instead of slow speech, no limiting in the recorder;"
        " measure again before anything rests on it"
    )
    return Problem(where, what, expected, "warning", code="arrivals-unexplained", values={"misfit_ratio": misfit_ratio})
