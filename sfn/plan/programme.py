"""The programme that an FM network carries, as its receivers hear it."""

from typing import Literal

from pydantic import model_validator

from sfn.plan.record import Record

# Pre-emphasis [us] with multiplex power [dBr]: those that quality is tabulated for.
TABULATED = ((50, 0), (50, 3), (75, 3), (75, 6))


class Programme(Record):
    """What FM quality counts on: the kind of sound, how loud it is processed, and the pre-emphasis."""

    kind: Literal["speech", "light", "dense"] = "light"
    """speech; light: programme-simulating noise of ITU-T J.19; dense: processed music."""
    pre_emphasis_us: Literal[50, 75] = 50
    """Time constant of transmitters and receivers. [us]"""
    multiplex_dbr: Literal[0, 3, 6] = 0
    """Power of the multiplex over that of a tone of +-19 kHz, 0 with the limit of ITU-R BS.412. [dBr]"""

    @model_validator(mode="after")
    def _tabulated(self) -> "Programme":
        """Loudness and pre-emphasis are one of the pairs that are worked out."""
        if (self.pre_emphasis_us, self.multiplex_dbr) not in TABULATED:
            listed = ", ".join(f"{emphasis} us with {power:+d} dBr" for emphasis, power in TABULATED)
            raise ValueError(
                f"{self.pre_emphasis_us} us with {self.multiplex_dbr:+d} dBr is not worked out; choose {listed}"
            )
        return self
