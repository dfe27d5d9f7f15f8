"""The first screen and the deleted networks."""

from dataclasses import dataclass
from typing import ClassVar

from webapp.contexts import Context
from webapp.store import Summary


@dataclass(frozen=True, slots=True)
class Demo:
    """A demo network on offer."""

    key: str
    name: str
    notes: str
    sites: int


@dataclass(frozen=True, slots=True)
class NetworksPage(Context):
    """The first screen."""

    TEMPLATE: ClassVar[str] = "networks.html"
    networks: tuple[Summary, ...]
    """The last saved first."""
    demos: tuple[Demo, ...]
    """Demo networks that can be loaded."""


@dataclass(frozen=True, slots=True)
class DeletedPage(Context):
    """Deleted networks."""

    TEMPLATE: ClassVar[str] = "deleted.html"
    networks: tuple[Summary, ...]
    """Each can be brought back."""
