"""Asking for the password."""

from dataclasses import dataclass
from typing import ClassVar

from webapp.contexts import Context


@dataclass(frozen=True, slots=True)
class LogInPage(Context):
    """Asks for the password."""

    TEMPLATE: ClassVar[str] = "log_in.html"
    after: str
    """Where one wanted to go."""
    refusal: str
    """Why the last attempt was refused, or nothing."""
