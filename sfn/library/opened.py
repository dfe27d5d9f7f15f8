"""A network document with the folder that its files are looked up in."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sfn.errors import PlanError, Problem
from sfn.plan import Network, read_document, read_file
from sfn.plan.demos import demo_files

if TYPE_CHECKING:  # numba comes with them, and a document is read without
    from sfn.terrain.ground import Ground


@dataclass(frozen=True, slots=True)
class Opened:
    """A network as the document says it, and where the folders that the document names are."""

    network: Network
    folder: Path

    @property
    def readable(self) -> Network:
        """The part of it that can be worked with; `left_out` of it says who is missing, and why.

        Raises
        ------
        PlanError
            If nothing of it can be read.
        """
        from sfn.timing.readable import readable

        return readable(self.network)

    @property
    def problems(self) -> tuple[Problem, ...]:
        """All that is wrong with the document, over its own terrain: what ``check`` says."""
        from sfn.check.everything import all_problems_in

        return all_problems_in(self.network, folder=self.folder, anywhere=True)

    @property
    def ground(self) -> "Ground":
        """Terrain, cover and zones; a smooth earth where the document names none.

        Raises
        ------
        PlanError
            If a folder is not there or holds a file that cannot be used.
        """
        from sfn.terrain.ground import open_ground

        return open_ground(self.network, folder=self.folder, anywhere=True)

    @property
    def credits_say(self) -> str:
        """Whose data its ground and people are, in the words that their licences ask for; empty where nothing says."""
        from sfn.terrain.credits import credits_say, network_credits

        return credits_say(network_credits(self.network, folder=self.folder, anywhere=True))

    def in_state(self, name: str) -> "Opened":
        """The same in a planned state of the document, by its name; "today" is the document itself.

        Raises
        ------
        PlanError
            If it has no such state.
        """
        from sfn.timing.planned_state import in_state

        return replace(self, network=in_state(self.network, name))

    def checked(self) -> "tuple[tuple[Problem, ...], Ground | None]":
        """Problems and ground at once, the terrain opened once; no ground where it cannot be opened, a problem then."""
        from sfn.check.everything import checked_in

        return checked_in(self.network, folder=self.folder, anywhere=True)


def load(source: str | Path | Mapping[str, Any], *, folder: str | Path | None = None, own_services: str = "") -> Opened:
    """The network in a file, or in a document that is at hand.

    Parameters
    ----------
    source : str, Path or mapping
        The file, or the document itself as `json.load` gives it.
    folder : str or Path, optional
        Where the folders that it names (terrain, cover, people) are looked up: the file's own where not given. A
        document that names one needs it.
    own_services : str
        Text of a file of services of one's own, as ``--services-file`` takes it.

    Raises
    ------
    PlanError
        If it cannot be opened or is no network document, with every problem and its place; or if a document at hand
        names folders and `folder` does not say where they are.
    """
    if isinstance(source, Mapping):
        network = read_document(source, own_services=own_services)
        if folder is None and (named := _named(network)):
            expected = "folder=, the folder they are in"
            raise PlanError(
                [Problem(named[0], "names a folder, and a document at hand lies in none", expected, code="no-folder")]
            )
        return Opened(network, Path("." if folder is None else folder).resolve())
    path = Path(source)
    network = read_file(path, own_services=own_services)
    return Opened(network, Path(path.parent if folder is None else folder).resolve())


def _named(network: Network) -> list[str]:
    """Places of the document that name a folder or a file."""
    grounds = {"terrain": network.terrain, "cover": network.cover, "zones": network.zones}
    found = [f"{key}.folder" for key, part in grounds.items() if part is not None and part.folder is not None]
    people = network.listeners
    return found + (["listeners.file"] if people is not None and people.file is not None else [])


def demos() -> tuple[str, ...]:
    """Names of the networks that come with the program; all are invented."""
    return tuple(path.stem for path in demo_files())


def load_demo(name: str = "fm_ridge") -> Opened:
    """A network that comes with the program: sites and figures are invented.

    Parameters
    ----------
    name : str
        One of `demos`.

    Raises
    ------
    PlanError
        If there is none of that name.

    Examples
    --------
    >>> load_demo("fm_ridge").network.service
    'fm-stereo'
    """
    found = next((path for path in demo_files() if path.stem == name), None)
    if found is None:
        raise PlanError([Problem("name", f"there is no demo {name!r}", f"one of {', '.join(demos())}", code="no-demo")])
    return load(found)
