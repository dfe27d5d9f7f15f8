"""How far each sheet is, as the change plan and the delay table say it beside the figures."""

from collections.abc import Mapping
from dataclasses import dataclass

from webapp.standing.release import Released, SheetLine, State
from webapp.store.signed import signed_for, unsigned_since


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

    @classmethod
    def of(cls, line: SheetLine) -> "SheetStands":
        """From its line."""
        verdict, signed = line.sheet.verdict, line.signed
        name = line.sheet.site.name
        if signed is None:
            doubts = tuple(one.problem.what for one in verdict.because("sign-off"))
            return cls(name, line.state, "", (), doubts, line.to_sign, line.emergency_says)
        later = tuple(one.problem.what for one in unsigned_since(signed, verdict))
        held = signed_for(signed, verdict)
        return cls(name, line.state, signed.made_by, held, later, line.to_sign, line.emergency_says)

    @property
    def doubted(self) -> bool:
        """Whether it rests on anything that is signed for, or is to be."""
        return bool(self.signed_for or self.unsigned)


def sheet_stands(found: Released) -> Mapping[str, SheetStands]:
    """Every sheet's, by site."""
    return {line.sheet.site.id: SheetStands.of(line) for line in found.lines}
