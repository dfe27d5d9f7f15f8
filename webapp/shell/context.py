"""What each template receives: one frozen record a template, a sentence a field.

A record names its template (`TEMPLATE`) and, inside a network, its tab (`TAB`). A template sees the
record's fields by their names, plus `frame`, `to` (addresses) and the filters of `webapp.shell.render`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar

from sfn.errors import Problem
from webapp.shell.languages import LANGUAGE
from webapp.store.roles import Person
from webapp.store.store import Revision


@dataclass(frozen=True, slots=True)
class NetworkHead:
    """Which network, in which revision, a page is about."""

    id: int
    name: str
    revision: Revision
    corrected: str = ""
    """Which levels are corrected by drive tests, in words; empty where none is."""
    indoors: str = ""
    """What is taken off every level for receivers indoors, in words; empty outdoors."""
    left_out: tuple[Mapping[str, Any], ...] = ()
    """Sites that the page does without because they cannot be read: site, name, whose fault, problems."""
    left_out_says: str = ""
    """The same in words, with what the figures then are; empty where there are none."""
    unjudged: str = ""
    """Why advice on power, pattern and muting is withheld: a site on air is left out; empty where none is."""
    unfrozen: tuple[Problem, ...] = ()
    """What this revision changes about the common delay that was frozen when sheets were issued."""
    urgent: tuple[str, ...] = ()
    """Sheets that are out and were issued in an emergency, until somebody approves them: which, by whom, when, why."""
    state: str = ""
    """The planned state that the page shows; empty: as the network stands."""
    state_says: tuple[str, ...] = ()
    """The same in words."""
    quick_by: str = ""
    """Code of the rule by which searches, orders and whatever follows a try judge; empty where no service is known."""
    credits: tuple[str, ...] = ()
    """Whose data its ground and people are, to be shown with all that rests on them."""
    names: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """What its sites and stages are called, in the order of the document."""


@dataclass(frozen=True, slots=True)
class Frame:
    """What `base.html` receives on every page, whatever the template."""

    csrf_token: str
    """Goes into every form that changes something."""
    author: str
    """The name of who is signed in, else the one last given with a save in this browser."""
    person: Person
    """Who looks at it; with a proven name where there are users."""
    may: frozenset[str]
    """What that person may do; see `webapp.store.roles`."""
    may_log_out: bool
    """Whether there is something to log out of."""
    notice: str
    """One sentence on what was just done, or nothing."""
    tab: str
    """Key of the open tab in `webapp.shell.tabs.GROUPS`."""
    network: NetworkHead | None
    """The network that the page is about, if any."""
    tried: tuple[tuple[str, str], ...]
    """What the page tries, as its address has it: the tabs of other pages that show a try hand it on."""
    faults: tuple[int, int] | None
    """Errors and warnings that the check finds in it; None where the page opened none."""


class Context:
    """What every context record says of itself."""

    __slots__ = ()
    TEMPLATE: ClassVar[str]
    TAB: ClassVar[str] = ""

    def language(self) -> str:
        """The language of what `_()` marks in its template: that which holds, English where none was chosen."""
        return LANGUAGE.get()

    def moved_keys(self, made: Mapping[str, Any]) -> Mapping[str, Any]:  # noqa: ARG002
        """Keys under which scripts found something before it moved, out of the plain record; none usually."""
        return {}
