"""All tiles that an area takes: what is held already, what is fetched, what a source does not have and what that means.

A tile that is not there (404) is sea, and nobody lives in it, where its set publishes no tile of the sea. Three things
speak against that, and are a fault instead: none of the set's tiles is there, of this area or beside it (the address is
wrong, or moved); the heights lack a tile and the coarser ones, which hold what was left out country by country, do not
answer; the server refuses a tile (403) and does not prove that this is how it says 404 (`sfn.country.proof`).
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import httpx2

from sfn.country.fetch import FetchError, Patience, client, fetch, forget
from sfn.country.looked import NotTheTileError, look
from sfn.country.proof import beside, refuses_what_cannot_be, serves
from sfn.country.sets import SETS, Wanted, coarse_of
from sfn.country.shelf import Note, Shelf
from sfn.country.sources import NONE, Sources, shown
from sfn.errors import PlanError, Problem

# Tiles of a set that were given up because the line is cut each time: the next would fare no better.
CUT_TILES_N = 2
Tell = Callable[[str, int, int], None]
"""Told what is being done, tiles that are done and their total; what it raises stops all, and keeps what came."""


@dataclass(frozen=True, slots=True)
class Gathered:
    """What became of the tiles.

    Parameters
    ----------
    held : tuple of (Wanted, Note)
        Tiles that lie on the shelf; a coarser one of heights in the place of the fine one.
    absent : tuple of Wanted
        Those that the sources do not have: sea.
    problems : tuple of Problem
        What did not come, and why; `values` has ``set`` and ``tile``.
    fetched_n : int
        Tiles that came over the net just now.
    """

    held: tuple[tuple[Wanted, Note], ...] = ()
    absent: tuple[Wanted, ...] = ()
    problems: tuple[Problem, ...] = ()
    fetched_n: int = 0


@dataclass
class _Run:
    """One run: what is fetched with, and what is found out on the way."""

    of: httpx2.Client
    shelf: Shelf
    sources: Sources
    patience: Patience
    tell: Tell
    done: int = 0
    total: int = 0
    fetched_n: int = 0
    dead: dict[str, FetchError] = field(default_factory=dict)
    denied: dict[str, FetchError] = field(default_factory=dict)
    proven: dict[tuple[str, str], bool] = field(default_factory=dict)
    cut_n: Counter[str] = field(default_factory=Counter)

    def note(self, tile: Wanted) -> Note | None:
        """A tile's note, from the shelf or fetched now; an absent one is not yet kept. None where it is denied."""
        note = self.shelf.note(tile)
        if note is not None:
            return note
        if tile.of.key in self.dead:
            raise self.dead[tile.of.key]
        try:
            return self._fetched(tile)
        except FetchError as error:
            if error.denied and tile.lattice is not None:
                self.denied[tile.file] = error
                return None
            self.cut_n[tile.of.key] += error.kind == "cut-off"
            if error.whole_source or self.cut_n[tile.of.key] >= CUT_TILES_N:
                first = error
                self.dead[tile.of.key] = FetchError(first.kind, f"was not asked for: {first.what}", first.expected)
            raise

    def _fetched(self, tile: Wanted) -> Note:
        """A tile over the net, looked at; twice where what came in two pieces does not fit together."""
        url, part = self.sources.url(tile), self.shelf.part(tile)
        part.parent.mkdir(parents=True, exist_ok=True)

        def tell(came: int, whole: int | None, why: str) -> None:
            """Bytes of this tile, or what is waited for."""
            of = "" if whole is None else f" of {whole / 1e6:.1f}"
            self.tell(f"{tile.file}: {why or f'{came / 1e6:.1f}{of} MB'}", self.done, self.total)

        for again in (True, False):
            resumed = part.exists()
            if not fetch(self.of, url, part, patience=self.patience, tell=tell):
                return Note(shown(url), "", absent=True)
            try:
                look(part, tile, tick=lambda: self.tell(f"{tile.file}: looking at it", self.done, self.total))
                break
            except NotTheTileError as error:
                forget(part)
                if not (again and resumed):
                    what, expected = error.args
                    raise FetchError("content", what, expected) from None
        self.fetched_n += 1
        note = self.shelf.keep(tile, part, source=shown(url))
        forget(part)
        return note


def gather(
    tiles: Sequence[Wanted],
    *,
    shelf: Shelf,
    sources: Sources,
    patience: Patience = Patience(),  # noqa: B008 - frozen
    version: str,
    tell: Tell,
) -> Gathered:
    """Fetch all tiles that are not held; whatever does not come is named, and the others come all the same.

    Parameters
    ----------
    tiles : sequence of Wanted
    shelf : Shelf
    sources : Sources
    patience : Patience
    version : str
        Of the program, told to the servers.
    tell : callable

    Raises
    ------
    PlanError
        If fetching is forbidden, or the environment's proxy cannot be used.
    """
    missing = [tile for tile in tiles if not settled(tile, shelf)]
    if missing and not sources.allowed:
        raise PlanError([sources.forbidden()])
    try:
        with client(patience, version=version) as of:
            return _gathered(_Run(of, shelf, sources, patience, tell, total=len(tiles)), tiles)
    except FetchError as error:
        raise PlanError([Problem("download", error.what, error.expected, code="download-address")]) from None


def settled(tile: Wanted, shelf: Shelf) -> bool:
    """Whether nothing need be asked for a tile: held, or known to be absent, a coarser one in its place or none."""
    note = shelf.note(tile)
    if note is None or not note.absent or tile.of.key != "heights":
        return note is not None
    return shelf.note(coarse_of(tile)) is not None


def on_shelf(tiles: Sequence[Wanted], shelf: Shelf) -> Gathered:
    """What of the tiles is there without asking anybody; what is not there is a problem."""
    held, absent, problems = [], [], []
    for tile in tiles:
        note = shelf.note(tile)
        at = coarse_of(tile) if note is not None and note.absent and tile.of.key == "heights" else tile
        note = shelf.note(at)
        if note is None:
            problems.append(_problem(tile, "is not here", "fetched, or carried here", code="tile-not-here"))
        elif note.absent:
            absent.append(tile)
        else:
            held.append((at, note))
    return Gathered(tuple(held), tuple(absent), tuple(problems))


def _gathered(run: _Run, tiles: Sequence[Wanted]) -> Gathered:
    """Set by set."""
    held: list[tuple[Wanted, Note]] = []
    absent: list[Wanted] = []
    problems: list[Problem] = []
    for key in dict.fromkeys(tile.of.key for tile in tiles):
        mine = [tile for tile in tiles if tile.of.key == key]
        got, lacking, wrong = _one_set(run, mine)
        held += got
        absent += lacking
        problems += wrong
    run.tell("all asked for", run.done, run.total)
    return Gathered(tuple(held), tuple(absent), tuple(problems), run.fetched_n)


def _one_set(run: _Run, tiles: Sequence[Wanted]) -> tuple[list[tuple[Wanted, Note]], list[Wanted], list[Problem]]:
    """Tiles of one set that are there, those that are nowhere, and what went wrong."""
    held: list[tuple[Wanted, Note]] = []
    lacking: list[Wanted] = []
    problems: list[Problem] = []
    for tile in tiles:
        run.tell(tile.file, run.done, run.total)
        try:
            note = run.note(tile)
            (lacking.append(tile) if note is None or note.absent else held.append((tile, note)))
        except FetchError as error:
            problems.append(_problem(tile, error.what, error.expected, code=f"download-{error.kind}"))
        run.done += 1
    if not lacking:
        return held, [], problems
    if tiles[0].lattice is None:
        return (
            held,
            [],
            [
                *problems,
                *(_problem(t, "is not there (404)", "its address", code="download-not-there") for t in lacking),
            ],
        )
    if tiles[0].of.key == "heights" and run.sources.base(SETS["heights-coarse"]) != NONE:
        lacking, coarse, wrong = _coarser(run, lacking, held)
        held += coarse
        problems += wrong
    if not lacking:
        return held, [], problems
    lacking, unproven, refused = _sea(run, lacking, held)
    problems += [*refused, *(_none_there(run, tiles, unproven) if unproven else [])]
    for tile in lacking:
        run.shelf.keep_absent(tile, source=shown(run.sources.url(tile)))
        if tile.of.key == "heights":
            under = coarse_of(tile)
            asked = run.sources.base(under.of) != NONE
            run.shelf.keep_absent(under, source=shown(run.sources.url(under)) if asked else NONE)
    return held, lacking, problems


def _coarser(
    run: _Run, lacking: Sequence[Wanted], held: Sequence[tuple[Wanted, Note]]
) -> tuple[list[Wanted], list[tuple[Wanted, Note]], list[Problem]]:
    """Tiles that the coarser heights lack too, those that they have, and what went wrong."""
    nowhere: list[Wanted] = []
    found: list[tuple[Wanted, Note]] = []
    problems: list[Problem] = []
    for tile in lacking:
        coarse = coarse_of(tile)
        try:
            note = run.note(coarse)
        except FetchError as error:
            problems.append(_problem(coarse, error.what, error.expected, code=f"download-{error.kind}"))
            continue
        if note is None or note.absent:
            nowhere.append(tile)
        elif tile.file in run.denied and not _says_no(run, tile, held):
            # Perhaps a proxy's whim: the coarser tile would stand in its place for good.
            problems.append(_refused(tile, run.denied[tile.file]))
        else:
            found.append((coarse, note))
            run.shelf.keep_absent(tile, source=shown(run.sources.url(tile)))
    unproven = [tile for tile in nowhere if run.shelf.note(coarse_of(tile)) is None]
    if not unproven or found or _coarse_answers(run, held):
        return nowhere, found, problems
    # What the fine ones prove that they lack hangs on the coarser ones alone; what they refuse may be there.
    silent = [tile for tile in nowhere if tile.file not in run.denied or _says_no(run, tile, held)]
    problems += [_refused(tile, run.denied[tile.file]) for tile in nowhere if tile not in silent]
    if silent:
        file, base = silent[0].file, shown(run.sources.base(SETS["heights-coarse"]))
        what = f"{file} is not there, and the coarser heights, which may have it, give no tile of this area"
        expected = f"those at {base}, or {SETS['heights-coarse'].variable}=none: it is sea then"
        values = {"set": "heights-coarse", "tile": file}
        problems.append(Problem("heights", what, expected, code="download-no-coarse", values=values))
    return [], found, problems


def _asked(run: _Run, tile: Wanted) -> list[Wanted]:
    """The tiles that were asked for in the place of one: itself, and of heights the coarser one."""
    coarse = tile.of.key == "heights" and run.sources.base(SETS["heights-coarse"]) != NONE
    return [tile, coarse_of(tile)] if coarse else [tile]


def _denied(run: _Run, tile: Wanted) -> list[FetchError]:
    """How a tile, and the coarser one, were refused."""
    return [run.denied[one.file] for one in _asked(run, tile) if one.file in run.denied]


def _coarse_answers(run: _Run, held: Sequence[tuple[Wanted, Note]]) -> bool:
    """Whether the coarser heights have a tile that must be there, because the fine ones have it."""
    known = next((coarse_of(tile) for tile, _ in held if tile.of.key == "heights"), None)
    if known is None:
        return True  # nothing of the heights is there: that is said
    if (note := run.shelf.note(known)) is not None:
        return not note.absent
    return serves(run.of, run.sources, [known])


def _sea(
    run: _Run, lacking: Sequence[Wanted], held: Sequence[tuple[Wanted, Note]]
) -> tuple[list[Wanted], list[Wanted], list[Problem]]:
    """Tiles that are sea; those that are not there, and nothing proves it; what was refused, and nothing proves it."""
    sure, unsure, refused = [], [], []
    for tile in lacking:
        asked = _asked(run, tile)
        if any(one.file in run.denied and not _says_no(run, one, held) for one in asked):
            refused.append(_refused(tile, _denied(run, tile)[0]))
        elif held or _serves(run, asked[-1], held):
            sure.append(tile)
        else:
            unsure.append(tile)
    return sure, unsure, refused


def _says_no(run: _Run, tile: Wanted, held: Sequence[tuple[Wanted, Note]]) -> bool:
    """Whether a source that refused a tile (403) says so that it has none: once a set, for all of them."""
    key = "no", tile.of.key
    if not run.denied[tile.file].by_store and key not in run.proven:
        run.proven[key] = refuses_what_cannot_be(run.of, run.sources, tile)
    return (run.denied[tile.file].by_store or run.proven[key]) and _serves(run, tile, held)


def _serves(run: _Run, tile: Wanted, held: Sequence[tuple[Wanted, Note]]) -> bool:
    """Whether a tile's source gives others of its set now: those that it gave, or such as lie beside it."""
    key = "serves", tile.of.key
    if key not in run.proven:
        run.tell(f"{tile.file}: is anything of this set to be had?", run.done, run.total)
        coarse = tile.of.key == "heights-coarse"
        given = [coarse_of(one) if coarse and one.of.key == "heights" else one for one, _ in held]
        mine = [one for one in given if one.of.key == tile.of.key][:2]
        run.proven[key] = serves(run.of, run.sources, [*mine, *beside(tile)])
    return run.proven[key]


def _refused(tile: Wanted, why: FetchError) -> Problem:
    """A tile that was refused, and may be there or not."""
    what = f"{why.what}: refused, or not there, nobody can tell"
    return _problem(tile, what, f"{why.expected}; what came is kept", code="download-refused")


def _none_there(run: _Run, tiles: Sequence[Wanted], lacking: Sequence[Wanted]) -> list[Problem]:
    """A set of which nothing is there."""
    of, base = tiles[0].of, shown(run.sources.base(tiles[0].of))
    what = f"none of its {len(tiles)} tiles is to be had at {base}, nor one beside them: {lacking[0].file} is not there"
    expected = f"the address of the set in {of.variable}, or the set left out; all of the area would count as sea"
    return [
        Problem(of.key, what, expected, code="download-none-there", values={"set": of.key, "tile": lacking[0].file})
    ]


def _problem(tile: Wanted, what: str, expected: str, *, code: str) -> Problem:
    """What is wrong with a tile."""
    return Problem(tile.file, what, expected, code=code, values={"set": tile.of.key, "tile": tile.file})
