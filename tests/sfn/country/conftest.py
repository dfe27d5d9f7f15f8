"""Servers with the sets' layouts, a shelf, and settings that name them."""

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from sfn.country.fetch import Patience
from sfn.country.gather import Gathered, gather
from sfn.country.sets import Wanted
from sfn.country.shelf import Shelf
from sfn.country.sources import Sources
from tests.sfn.country.small_server import Store, serving
from tests.sfn.country.small_tiles import write_heights

QUICK = Patience(waits_s=(0.01, 0.02, 0.02), connect_s=2.0, silent_s=0.5)


@pytest.fixture(autouse=True)
def no_proxy(monkeypatch: pytest.MonkeyPatch) -> None:
    """The machine's own proxies and mirrors are none of the tests'."""
    for name in list(os.environ):
        if name.lower().endswith("_proxy") or name.startswith("SFN_DELAYS_"):
            monkeypatch.delenv(name)


@pytest.fixture(scope="session")
def heights_made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One tile of 1 and one of 3 arc-seconds, written once."""
    folder = tmp_path_factory.mktemp("made")
    write_heights(folder, 36, -85)
    write_heights(folder, 36, -85, coarse=True)
    return folder


@pytest.fixture
def stack() -> Iterator[ExitStack]:
    """What is closed at the end."""
    with ExitStack() as held:
        yield held


@pytest.fixture
def heights(tmp_path: Path, heights_made: Path, stack: ExitStack) -> Store:
    """A server with both tiles of N36 W085."""
    folder = tmp_path / "server-heights"
    shutil.copytree(heights_made, folder)
    return stack.enter_context(serving(Store(folder)))


@pytest.fixture
def shelf(tmp_path: Path) -> Shelf:
    """An empty one."""
    return Shelf(tmp_path / "data" / "country")


@pytest.fixture
def fetched(shelf: Shelf, heights: Store) -> Callable[..., Gathered]:
    """Gather tiles from the server, for all its sets."""

    def run(
        *tiles: Wanted,
        patience: Patience = QUICK,
        tell: Callable[[str, int, int], None] = lambda *_: None,
        **bases: str,
    ) -> Gathered:
        named = dict.fromkeys(("heights", "heights-coarse", "cover", "people", "names", "roads"), heights.base)
        named |= {key.replace("_", "-"): base for key, base in bases.items()}
        return gather(tiles, shelf=shelf, sources=Sources(True, named), patience=patience, version="0", tell=tell)

    return run
