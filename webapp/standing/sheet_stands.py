"""How far each sheet is, as the change plan and the delay table say it beside the figures."""

from collections.abc import Mapping
from dataclasses import dataclass

from sfn.errors import Problem
from webapp.standing.release import Released, SheetLine, State
from webapp.store.signed import doubts_held, signed_for, unsigned_since


@dataclass(frozen=True, slots=True)
class SheetStands:
    """One site's sheet: its state, who signed it for what, and what nobody signed for."""

    site_name: str
    state: State
    signed_by: str
    """Empty where nobody signed it."""
    signed_for: tuple[str, ...]
    """The doubts in the words in which they were signed."""
    unsigned: tuple[str, ...]
    """Doubts that nobody signed for: all of them, or those that came up since."""
    to_sign: bool
    """Whether it waits for a name."""
    emergency: str = ""
    """That it was issued in an emergency, by whom and why; empty where it was not."""
    held: tuple[Problem, ...] = ()
    """`signed_for` as problems, for whoever prints other words."""
    open: tuple[Problem, ...] = ()
    """`unsigned` as problems."""

    @classmethod
    def of(cls, line: SheetLine) -> "SheetStands":
        """From its line."""
        verdict, signed = line.sheet.verdict, line.signed
        name = line.sheet.site.name
        if signed is None:
            doubts = tuple(one.problem for one in verdict.because("sign-off"))
            return cls(
                name, line.state, "", (), _words(doubts), line.to_sign, line.emergency_says, held=(), open=doubts
            )
        later = tuple(one.problem for one in unsigned_since(signed, verdict))
        return cls(
            name, line.state, signed.made_by, signed_for(signed, verdict), _words(later), line.to_sign,
            line.emergency_says, held=doubts_held(signed, verdict), open=later,
        )  # fmt: skip

    @property
    def doubted(self) -> bool:
        """Whether it rests on anything that is signed for, or is to be."""
        return bool(self.signed_for or self.unsigned)


def _words(problems: tuple[Problem, ...]) -> tuple[str, ...]:
    """In English."""
    return tuple(one.what for one in problems)


def sheet_stands(found: Released) -> Mapping[str, SheetStands]:
    """Every sheet's, by site."""
    return {line.sheet.site.id: SheetStands.of(line) for line in found.lines}
