"""What scripts may call."""

from dataclasses import dataclass
from typing import ClassVar

from webapp.contexts import Context


@dataclass(frozen=True, slots=True)
class AboutApiPage(Context):
    """The addresses for scripts."""

    TEMPLATE: ClassVar[str] = "about_api.html"
    operations: tuple[tuple[str, str, str], ...]
    """Method, address and sentence of each."""
    needs_token: bool
    """Whether a password is in force."""
    base: str
    """This application's own address."""
