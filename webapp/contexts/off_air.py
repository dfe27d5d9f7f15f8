"""Sites fed off air."""

from dataclasses import dataclass
from typing import ClassVar

from sfn.answer.off_air import OffAirSite
from webapp.contexts import Context, NetworkHead
from webapp.contexts.network import Editor
from webapp.forms.fields import Group


@dataclass(frozen=True, slots=True)
class OffAirCard:
    """One site with its figures and what follows from them."""

    name: str
    parent_name: str
    fields: Group
    """How it hears its parent."""
    answer: OffAirSite | None
    """None while the document cannot be read."""
    missing: tuple[str, ...]
    """Labels of the figures that are needed and not given."""


@dataclass(frozen=True, slots=True)
class OffAirPage(Context):
    """Isolation, gain margin and what is heard, of every site fed off air."""

    TEMPLATE: ClassVar[str] = "off_air.html"
    TAB: ClassVar[str] = "off-air"
    network: NetworkHead
    """Which network, in which revision."""
    editor: Editor
    """What the form carries."""
    cards: tuple[OffAirCard, ...]
    """The sites fed off air, in the order of the document."""
    refused: str
    """Why nothing could be worked out, where terrain or positions cannot be used."""
