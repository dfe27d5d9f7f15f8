"""The delay table of a network, as ``python -m sfn delays`` gives it."""

from dataclasses import dataclass
from typing import Any

from sfn.answer.delays import document
from sfn.errors import Problem
from sfn.library.frames import frame
from sfn.library.opened import Opened
from sfn.study.delays import Delays, delays


@dataclass(frozen=True, slots=True)
class DelayAnswer:
    """Common delay, what each device must be set to, and whether a sheet may go out with it."""

    found: Delays
    """Everything as records of the engine."""

    @property
    def document(self) -> dict[str, Any]:
        """What ``delays --json`` prints."""
        return document(self.found)

    @property
    def problems(self) -> tuple[Problem, ...]:
        """All that is wrong with the network; `Problem.code` is stable."""
        return self.found.problems

    @property
    def says(self) -> tuple[str, ...]:
        """Which sites are not worked out, and why, in words."""
        return tuple(f"not worked out: {one.site_name}: {one.problem.what}" for one in self.found.table.missing)

    def to_frame(self) -> Any:
        """A `pandas.DataFrame`, a row a site and route, columns as the keys of ``sites`` in ``delays --json``.

        A row of which `verdict` is ``withheld`` has no sheet: its setting may be wrong, `reasons` has the codes.

        Raises
        ------
        ModuleNotFoundError
            If pandas is not installed.
        """
        answer = self.document
        return frame(answer["sites"], says=self.says, problems=answer["problems"])


def delay_table(plan: Opened) -> DelayAnswer:
    """What every device of a network must be set to.

    Parameters
    ----------
    plan : Opened

    Raises
    ------
    PlanError
        If no chain of it can be read.

    Examples
    --------
    >>> from sfn.library.opened import load_demo
    >>> round(delay_table(load_demo("fm_ridge")).document["common_delay_us"], 4)
    186250.2198
    """
    problems, ground = plan.checked()
    return DelayAnswer(delays(plan.network, problems=problems, ground=ground))
