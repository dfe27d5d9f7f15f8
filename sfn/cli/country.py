"""The ground round a network's sites out of open data: heights, land cover, people, place names, coast, borders, roads.

Shows what would be fetched (set, licence, files, MB), asks, fetches into the data folder (SFN_DELAYS_DATA), makes
folders beside NETWORK (NETWORK-country) of it, and lets NETWORK name them where it names none of its own. What came is
kept: after Ctrl-C or a fault the same command goes on from there. All that leaves the machine is the names of the
files that are asked for. SFN_DELAYS_DOWNLOADS=no forbids it; SFN_DELAYS_SOURCE_HEIGHTS, _HEIGHTS_COARSE, _COVER,
_PEOPLE, _NAMES, _COAST, _BORDERS and _ROADS name mirrors; HTTPS_PROXY, NO_PROXY and SSL_CERT_FILE count as everywhere.

JSON keys: `bounds`, `sets` (each with `set`, `licence`, `attribution`, `source`, `tiles`, `held`, `about_mb`),
`fetched`, `sea` (files that the sources do not have), `problems`, `says` (what was done and assumed), `credits` (the
words to show wherever the data are), `written` (keys of the document), `kept` (keys it had already), `keys` (what
they would be). Exit code 2 where something did not come.
"""

import argparse
import json
import os
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import sfn
from sfn.cli.table import add_json, print_json, print_problems, print_table
from sfn.cli.zones import bounds_argument
from sfn.country.carry import pack, unpack
from sfn.country.kept import kept
from sfn.country.made import document_keys
from sfn.country.shelf import FOLDER, Shelf
from sfn.country.sources import data_folder, sources
from sfn.errors import PlanError, Problem
from sfn.geodesy.sites import placed_sites
from sfn.in_one_step import in_one_step
from sfn.plan.reading import bytes_of
from sfn.study.country import (
    Country,
    Offer,
    area,
    choices,
    cut,
    document_with,
    get,
    ground_told,
    offer,
    read_for_ground,
)
from sfn.timing.readable import readable

NAME = "country"
SUMMARY = "ground, cover, people and names round the sites, out of open data"


def arguments(parser: argparse.ArgumentParser) -> None:
    """The command's arguments."""
    parser.add_argument("network", type=Path, metavar="NETWORK", help="network document (JSON)")
    parser.add_argument(
        "--what", default="", metavar="SETS", help="heights,cover,people,names,coast,borders,roads (the first four)"
    )
    parser.add_argument("--bounds", metavar="S,W,N,E", help="area in degrees (as far as the network is usable)")
    parser.add_argument("--yes", action="store_true", help="do not ask")
    parser.add_argument("--pack", type=Path, metavar="FILE", help="pack the area's tiles for another machine")
    parser.add_argument("--unpack", type=Path, metavar="FILE", help="take tiles out of such a file; nobody is asked")
    add_json(parser)


def run(args: argparse.Namespace) -> int:
    """Say what is wanted, ask, fetch, make the folders, let the document name them."""
    if args.pack is not None and args.unpack is not None:
        raise PlanError([Problem("--unpack", "stands beside --pack", "one of the two", code="option-idle")])
    settings, shelf = sources(os.environ), Shelf(data_folder(os.environ) / FOLDER)
    whole, without = read_for_ground(bytes_of(args.network), own_services=args.own_services)
    network = readable(whole)
    placed = placed_sites(network).at
    bounds = area(network, placed) if args.bounds is None else cut(bounds_argument(args.bounds), where="--bounds")
    keys = choices(args.what, where="--what")
    if args.unpack is not None:
        taken_n = unpack(args.unpack, shelf=shelf, tick=lambda name: _tell(name, 0, 0))
        _say(args, f"{taken_n} files taken out of {args.unpack}")
    offered = offer(bounds, keys, shelf=shelf, sources=settings)
    asks_nobody = args.unpack is not None or offered.missing_n == 0
    if not args.json:
        _show(offered)
    if not asks_nobody and not settings.allowed:
        raise PlanError([settings.forbidden()])
    if not asks_nobody and not args.yes and not _asked(offered):
        _say(args, "nothing was fetched")
        return 0
    folder = args.network.resolve().parent / f"{args.network.stem}-country"
    try:
        found = get(
            offered, shelf=shelf, sources=settings, place=lambda key: folder / key, placed=placed,
            version=sfn.__version__, tell=_tell, ask_nobody=asks_nobody,
        )  # fmt: skip
    except KeyboardInterrupt:
        print(f"\nwhat came is kept: {kept(offered.tiles, shelf).says}. The same command goes on.", file=sys.stderr)
        raise
    told = (
        []
        if not without or "heights" not in found.made.folders
        else ground_told(found.made.folders["heights"], without, network, placed)
    )
    found = replace(found, made=replace(found.made, says=(*found.made.says, *told)))
    named = document_keys(found.made, named=lambda path: path.relative_to(args.network.resolve().parent).as_posix())
    written, left = _into_document(args.network, named, ours=f"{folder.name}/")
    packed_n = None if args.pack is None else _packed(args.pack, found, shelf)
    if args.json:
        print_json(_document(offered, found, named, written, left))
    else:
        _print(args, found, named, written, left)
        if packed_n is not None:
            print(f"{packed_n} files packed into {args.pack}")
    return 2 if found.gathered.problems else 0


def _show(offered: Offer) -> None:
    """What would be fetched, for people."""
    south, west, north, east = offered.bounds_deg
    print(f"area {south:.3f}, {west:.3f} to {north:.3f}, {east:.3f}: {offered.extent_says}")
    print_table(
        ("set", "files", "here", "about MB", "licence"),
        (
            (one.of.key, str(len(one.files)), str(one.held_n), f"{one.about_mb:.0f}", one.of.licence)
            for one in offered.lines
        ),
    )
    for line in offered.lines:
        print(f"{line.of.label}; {line.of.attribution}")
        if line.files:
            print(f"  from {line.base}")
        for name in line.files:
            print(f"    {name}")
    if offered.missing_n:
        print(
            "Sizes are from memory. These names are all that leaves this machine. A square of heights without a tile is"
        )
        print(
            "asked for once more among the coarser ones; beside a refused one (403) a neighbour and one in mid-ocean."
        )


def _asked(offered: Offer) -> bool:
    """Whether somebody says yes.

    Raises
    ------
    PlanError
        If nobody can be asked.
    """
    if not sys.stdin.isatty():
        raise PlanError([Problem("--yes", "is not given, and nobody can be asked here", "--yes", code="not-confirmed")])
    reply = input(f"Fetch {offered.missing_n} files, about {offered.about_mb:.0f} MB? [y/N] ")
    return reply.strip().lower() in ("y", "yes")


def _into_document(path: Path, keys: dict[str, Any], *, ours: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Let a document name what was made; which keys were written, and which it has otherwise."""
    try:
        held = json.loads(path.read_text(encoding="utf-8-sig"))
        document, kept = document_with(held, keys, ours=lambda name: name.startswith(ours))
        if document != held:
            with in_one_step(path) as fresh:
                fresh.write_text(json.dumps(document, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    except OSError as error:
        what = f"{path} cannot be written ({error.strerror})"
        raise PlanError([Problem("NETWORK", what, "a file that can", code="file-unwritable")]) from None
    return tuple(key for key in keys if key not in kept), kept


def _packed(path: Path, found: Country, shelf: Shelf) -> int:
    """Pack what is here."""
    try:
        return pack(found.gathered, shelf=shelf, path=path, tick=lambda name: _tell(name, 0, 0))
    except OSError as error:
        what = f"cannot be written ({error.strerror})"
        raise PlanError([Problem("--pack", what, "a file that can", code="file-unwritable")]) from None


def _print(
    args: argparse.Namespace, found: Country, named: dict[str, Any], written: tuple[str, ...], kept: tuple[str, ...]
) -> None:
    """What was done, for people."""
    gathered = found.gathered
    print(f"{gathered.fetched_n} files fetched, {len(gathered.held) - gathered.fetched_n} were here", end="")
    print(f", {len(gathered.absent)} are not published: sea" if gathered.absent else "")
    for said in found.made.says:
        print(said)
    if written:
        print(f"{args.network} now names: {', '.join(written)}")
    for key in kept:
        print(f"{args.network} names {key} of its own, which stays; to stand on what was fetched:")
        print_json({key: named[key]})
    for said in found.credits:
        print(f"to be shown with all that rests on them: {said}")
    print_problems((*gathered.problems, *found.doubts))
    if gathered.problems:
        print("What came is kept: the same command asks for the rest alone.")


def _document(
    offered: Offer, found: Country, named: dict[str, Any], written: tuple[str, ...], kept: tuple[str, ...]
) -> dict[str, Any]:
    """The same as JSON."""
    return {
        "bounds": list(offered.bounds_deg),
        "sets": [
            {
                "set": line.of.key, "licence": line.of.licence, "attribution": line.of.attribution,
                "source": line.base, "tiles": list(line.files), "held": line.held_n, "about_mb": line.about_mb,
            }
            for line in offered.lines
        ],
        "fetched": found.gathered.fetched_n,
        "sea": [tile.file for tile in found.gathered.absent],
        "problems": [one.as_json() for one in (*found.gathered.problems, *found.doubts)],
        "says": list(found.made.says),
        "credits": list(found.credits),
        "written": list(written),
        "kept": list(kept),
        "keys": named,
    }  # fmt: skip


def _say(args: argparse.Namespace, text: str) -> None:
    """A line for people."""
    if not args.json:
        print(text)


def _tell(what: str, done: int, total: int) -> None:
    """One line that overwrites itself, on a terminal only."""
    if sys.stderr.isatty():
        of = f"{done} of {total}: " if total else ""
        print(f"\r\033[K{of}{what}"[:160], end="", file=sys.stderr, flush=True)
