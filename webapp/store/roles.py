"""Who may do what: the roles, what each may do, and what an address needs.

| action | what it is |
|---|---|
| read | look at everything but users and the record |
| compute | start a computation that changes nothing |
| plan | change networks, files and computations that are kept |
| record | write down what was set and measured |
| approve | answer for a doubt on a sheet, approve a change plan |
| issue | let sheets out, make technicians' links |
| control | confirm steps of a change; an emergency issue with its reason |
| administer | users, services, settings, the record of what was done |

An address that is not in the table needs `plan` to change anything: a new page is closed until somebody opens it.
"""

import re
import unicodedata
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Literal

from fastapi import Request

from sfn.errors import Problem

Action = Literal["read", "compute", "plan", "record", "approve", "issue", "control", "administer"]
Via = Literal["this machine", "password", "session", "token", "nobody", "command"]

ROLES: Mapping[str, frozenset[Action]] = {
    "viewer": frozenset({"read", "compute"}),
    "technician": frozenset({"read", "record"}),
    "controller": frozenset({"read", "compute", "record", "issue", "control"}),
    "planner": frozenset({"read", "compute", "plan", "record", "issue"}),
    "approver": frozenset({"read", "compute", "record", "approve", "issue"}),
    "administrator": frozenset(
        {"read", "compute", "plan", "record", "approve", "issue", "control", "administer"}
    ),
}  # fmt: skip
SCOPES = ("read", "write")
"""Of a token: looking and computing, or everything that its user may do."""
SAFE_METHODS = ("GET", "HEAD", "OPTIONS")


@dataclass(frozen=True, slots=True)
class Person:
    """Who sends a request."""

    name: str
    """Empty where names are typed: on one's own machine, or behind the one password of before."""
    role: str
    via: Via
    user_id: int | None = None
    scope: str = "write"

    @property
    def named(self) -> bool:
        """Whether the name is proven, so that it stands for whatever was typed."""
        return self.user_id is not None


NOBODY = Person("", "", "nobody")
OWNER = Person("", "administrator", "this machine")
KEEPER = Person("", "administrator", "password")
"""Behind the one password of the installation, or its one token of before."""

# What a route needs for anything but looking, the first that fits; under ``/api`` and ``/api/pages`` too. Held against
# the path that the route was written with, gaps and all: an address says one number in many ways, a route in one.
_ID = r"/networks/\{network_id\}"
_FORM = r"\.\{form\}"
NEEDS: tuple[tuple[str, Action | None], ...] = (
    (r"/log-in|/log-out|/account(/.*)?|/first-user", None),  # each looks for itself
    (r"/site/.*", None),  # a technician's signed link
    (r"/users(/.*)?|/services/upload|/record(/.*)?", "administer"),
    (rf"{_ID}/sheets/[^/]+/sign", "approve"),
    (rf"{_ID}/sheets/issue|{_ID}/packet(\.pdf)?|{_ID}/readings/links(/.*)?", "issue"),
    (rf"{_ID}/timeline|{_ID}/measurements/rows", "record"),
    (rf"{_ID}/change/approve", "approve"),
    (rf"{_ID}/change/(confirm|emergency)(/.*)?", "control"),
    (rf"{_ID}/(signals|measurements|measurements/(residuals{_FORM}|echoes|recordings/upload))", "compute"),
    (rf"{_ID}/(measurements/)?arrivals/upload", "compute"),
    (rf"{_ID}/(road|road{_FORM}|road/(upload|again|picked)|drives/\w+/upload|losses/upload)", "compute"),
    (rf"{_ID}/point/(direct|hear/upload)", "compute"),
    (
        rf"{_ID}/((offsets|plans|placing)/find|change/levels|links/advice|map/levels|tables/upload|map/[^/]+/licence/upload)",
        "compute",
    ),
    (r"/jobs/[^/]+/(cancel|again)", "compute"),
)
# What only looking needs more than `read` for.
GUARDED: tuple[tuple[str, Action], ...] = (
    (r"/users(/.*)?|/record(\..*|/.*)?", "administer"),
    (rf"{_ID}/packet/[^/]+", "issue"),  # links again
    (rf"{_ID}/readings/links(\.pdf)?", "issue"),  # whoever has a link may send readings
)


class NotAllowedError(Exception):
    """Somebody is signed in, and may not do this."""

    def __init__(self, person: Person, action: Action, *, because: str = "", ways: str = "") -> None:
        name = person.name or ("this token" if person.via == "token" else "somebody without a name")
        reading = ", for reading" if person.scope == "read" else ""
        reason = f"{name} {because}, and" if because else f"{name} ({person.role}{reading})"
        self.problem = Problem(
            "role",
            f"{reason} may not {WORDS[action]}",
            ("somebody else" if because else "somebody")
            + " whose role allows it: "
            + ", ".join(roles_for(action))
            + (f"; {ways}" if ways else ""),
            code="approver-is-planner" if because else "not-allowed",
            values={"role": person.role, "action": action},
        )
        super().__init__(self.problem.what)


WORDS: Mapping[Action, str] = {
    "read": "look at this",
    "compute": "start computations",
    "plan": "change plans",
    "record": "write readings",
    "approve": "answer for doubts on sheets and approve change plans",
    "issue": "issue sheets",
    "control": "confirm steps",
    "administer": "administer users, services and the record",
}


def roles_for(action: Action) -> tuple[str, ...]:
    """Roles that may do something."""
    return tuple(role for role, actions in ROLES.items() if action in actions)


def may(person: Person, action: Action) -> bool:
    """Whether somebody may do something; a token for reading lets nobody do more than look and compute."""
    if person.scope != "write" and action not in ("read", "compute"):
        return False
    return action in ROLES.get(person.role, frozenset())


def needed(method: str, route: str) -> Action | None:
    """What a route needs, by the path it was written with; None where it looks for itself."""
    bare = re.sub(r"^/api(/pages)?(?=/)", "", route)
    if method in SAFE_METHODS:
        return next((action for pattern, action in GUARDED if re.fullmatch(pattern, bare)), "read")
    return next((action for pattern, action in NEEDS if re.fullmatch(pattern, bare)), "plan")


def name_key(name: str) -> str:
    """A name as it is looked up: letter case, spaces and ways to write one letter apart."""
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def another_person(person: Person, planners: Collection[str], *, approval: str, ways: str = "") -> None:
    """Where approvals need another person (``SFN_DELAYS_APPROVAL=other``): refuse the planner, and who may not approve.

    Parameters
    ----------
    person : Person
        Who wants to answer for it.
    planners : collection of str
        Keys of the names of whoever changed what is to be approved (`name_key`).
    approval : {'any', 'other'}
    ways : str
        What else would do, said where it is refused.

    Raises
    ------
    NotAllowedError
        If it is not another person with the role for it.
    """
    if approval != "other":
        return
    if not may(person, "approve"):
        raise NotAllowedError(person, "approve", ways=ways)
    if not person.named or name_key(person.name) in planners:
        raise NotAllowedError(person, "approve", because="changed what is to be approved", ways=ways)


def current_user(request: Request) -> Person:
    """Who sends a request, as the door found out."""
    person: Person = request.scope.get("state", {}).get("person", NOBODY)
    return person


def route_of(request: Request) -> str:
    """The path of the route that answers, as it was written: ``/networks/{network_id}/...``."""
    return str(request.scope["route"].path)


async def allowed(request: Request) -> None:
    """Refuse what a role may not do. A dependency of every route.

    Raises
    ------
    NotAllowedError
        If somebody signed in may not do it.
    """
    person, action = current_user(request), needed(request.method, route_of(request))
    if action is not None and person.via != "nobody" and not may(person, action):
        raise NotAllowedError(person, action)
