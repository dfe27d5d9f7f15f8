"""Pages on which a network's document is edited."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

from sfn.answer.standing import Standing
from sfn.answer.timeline import Present
from sfn.check.heights import GroundThere
from sfn.errors import Problem
from sfn.geodesy.position import Forms, Located
from webapp.contexts import Context, NetworkHead
from webapp.forms.fields import Field, Group


@dataclass(frozen=True, slots=True)
class Advice:
    """Something that the check found in a document that can be used."""

    problem: Problem
    go: str
    """The view where it can be mended, ``site 2`` or ``chain 0``; empty where it is on this page."""
    words: str
    """What the button that leads there says."""


@dataclass(frozen=True, slots=True)
class Editor:
    """What every form that edits the document carries."""

    base_revision: int
    """Revision that the form was made from."""
    draft: str
    """The document with what was changed but not saved, as JSON; empty where nothing was."""
    view: str
    """network, site, chain or document: the page to come back to."""
    index: int
    """Which site, by its position."""
    author: str
    """Name typed for the record."""
    reason: str
    """Reason typed for the record."""
    deleted: bool
    """The network was deleted while it was being edited."""
    problems: tuple[Problem, ...]
    """Everything that keeps it from being saved, with its place."""
    leads: dict[str, tuple[str, str]]
    """By the place of a problem that is not on this page: the view where it can be mended, and what the button says."""
    advice: tuple[Advice, ...]
    """What the check found in it, where nothing keeps it from being saved."""
    on_page: frozenset[str]
    """Names of the fields on this page that have a problem: the lists of problems lead there."""
    set_at: str = ""
    """Since when present values that are changed hold, as typed."""
    stands: tuple[Present, ...] = ()
    """What the page's site is set to by the latest reports."""


@dataclass(frozen=True, slots=True)
class ChainLine:
    """One route of a site, in words."""

    route: str
    stages: tuple[tuple[str, bool], ...]
    """Short name of each stage from the reference point to the antenna, and whether other sites share it."""


@dataclass(frozen=True, slots=True)
class SiteLine:
    """One site in the network's list."""

    index: int
    name: str
    position: str
    on_air: bool
    offset_us: str
    chains: tuple[ChainLine, ...]


@dataclass(frozen=True, slots=True)
class NetworkPage(Context):
    """Sites and chains of one network, and the network's own fields."""

    TEMPLATE: ClassVar[str] = "network.html"
    TAB: ClassVar[str] = "network"
    network: NetworkHead
    """Which network, in which revision."""
    editor: Editor
    """What the form carries."""
    sites: tuple[SiteLine, ...]
    """Its sites, in the order of the document."""
    fields: Group
    """The network's own fields."""


@dataclass(frozen=True, slots=True)
class SitePage(Context):
    """One site: where it stands, what it radiates, where delay can be set."""

    TEMPLATE: ClassVar[str] = "site.html"
    TAB: ClassVar[str] = "network"
    network: NetworkHead
    """Which network, in which revision."""
    editor: Editor
    """What the form carries."""
    name: str
    """The site's name."""
    site_id: str
    """Its id in the newest revision, for its antenna's page; empty while it is not saved."""
    located: Located | None
    """Its position as it was understood; None where it cannot be."""
    forms: Forms | None
    """The same in the forms that sheets print."""
    there: GroundThere | None
    """The ground that the network's terrain has there; None without terrain."""
    standing: Standing | None
    """The same on a small map, with what is in doubt and whether it is to be confirmed."""
    confirmed: Mapping[int, str]
    """Places that were confirmed, by a site's position in the list."""
    fields: Group
    """The site's own fields."""
    delay_fields: tuple[Group, ...]
    """Where delay can be set."""


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a chain: which stage stands there."""

    choice: Field
    place: str
    """Field name, for the buttons that move and remove it."""


@dataclass(frozen=True, slots=True)
class RouteForm:
    """One chain of a site."""

    name: str
    """Field name of the chain."""
    fields: Group
    steps: tuple[Step, ...]
    next: Field
    """An empty step at the end, to put a known stage on."""
    settings: tuple[Field, ...]
    """What each delay field is set to while this route is in use."""


@dataclass(frozen=True, slots=True)
class StageForm:
    """One stage on a site's chains."""

    fields: Group
    more: Group
    """What is seldom needed."""
    summary: str
    """Kind, latency and how it is known, in a line."""
    open: bool
    """Whether it is shown at length: it is new, or something is wrong in it."""
    shared_with: tuple[str, ...]
    """Names of the other sites whose chains pass it."""
    inside: tuple[Field, ...]
    """Of a time-stamped section: the stages it covers, and an empty one."""


@dataclass(frozen=True, slots=True)
class ChainPage(Context):
    """One site's chains and the stages on them."""

    TEMPLATE: ClassVar[str] = "chain.html"
    TAB: ClassVar[str] = "network"
    network: NetworkHead
    """Which network, in which revision."""
    editor: Editor
    """What the form carries."""
    name: str
    """The site's name."""
    routes: tuple[RouteForm, ...]
    """Its chains, one a route."""
    stages: tuple[StageForm, ...]
    """Every stage on them, once, in the order of the signal."""
    known: tuple[str, ...]
    """Short names of all stages, where they are too many for a menu."""


@dataclass(frozen=True, slots=True)
class DocumentPage(Context):
    """The document as JSON, for those who prefer it."""

    TEMPLATE: ClassVar[str] = "document.html"
    TAB: ClassVar[str] = "network"
    network: NetworkHead
    """Which network, in which revision."""
    editor: Editor
    """What the form carries."""
    text: str
    """The document, or what was typed over it."""


@dataclass(frozen=True, slots=True)
class NewPage(Context):
    """The first fields of a network that is not there yet."""

    TEMPLATE: ClassVar[str] = "new.html"
    fields: Group
    """Of the network."""
    site: Group
    """Of its first site."""
    delay_field: Group
    """Where that site's delay is set."""
    stage: Group
    """What stands for its whole chain until it is known better."""
    standing: Standing | None
    """Where its first site stands, on a small map, to be confirmed; None where its position cannot be read."""
    confirmed: Mapping[int, str]
    """The place that was confirmed, by the site's position in the list."""
    author: str
    """Name typed for the record."""
    problems: tuple[Problem, ...]
    """Every problem, with its place."""
    on_page: frozenset[str]
    """Names of the fields that have a problem."""
