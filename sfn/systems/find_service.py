"""A service found by what people know of it: its name, a country's usual mode, the guard interval in us."""

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files

from sfn.systems.service import Service, modulations, service, services
from sfn.units import written

MOST_FOUND_N = 30
_MOST_TYPED_N = 200


@dataclass(frozen=True, slots=True)
class UsualMode:
    """The mode that transmitters of some countries usually have."""

    service: str
    countries: tuple[str, ...]
    source: str


@dataclass(frozen=True, slots=True)
class Found:
    """A service that answers to the typed words."""

    service: Service
    says: str
    """Guard interval and required C/N, or what is tolerated, in words."""
    usual_in: tuple[str, ...]
    """Countries whose usual mode it is, as far as the table knows."""


@cache
def usual_modes() -> tuple[UsualMode, ...]:
    """Usual modes of countries, each with its source."""
    tree = tomllib.loads(files("sfn.systems").joinpath("usual_modes.toml").read_text(encoding="utf-8"))
    return tuple(UsualMode(one["service"], tuple(one["countries"]), one["source"]) for one in tree["mode"])


def find_services(text: str, *, own_services: str = "", most: int = MOST_FOUND_N) -> tuple[Found, ...]:
    """Services in which every typed word begins a word: of id, name, country, channel, guard interval.

    Parameters
    ----------
    text : str
        As people type it, in any order: ``dvb-t2 32k 224 us``, ``spain``, ``64qam 8k 1/4``.
    own_services : str
        Text of the user's own file of services.
    most : int
        How many at most; those with more words met whole come first, then the usual modes, then the order of the file.

    Raises
    ------
    PlanError
        If the user's file is unusable.

    Examples
    --------
    >>> [one.service.id for one in find_services("spain dvb-t")]
    ['dvb-t-8k-1/4-8mhz-64qam-2/3']
    >>> [one.service.id for one in find_services("dab 246 us")]
    ['dab-mode-1']
    """
    wanted = _words(text[:_MOST_TYPED_N])
    found = []
    for order, (entry, words, unmodulated) in enumerate(_known(own_services)):
        left = [word for word in wanted if not any(one.startswith(word) for one in words)]
        whole = sum(word in words for word in wanted)
        rank = (-whole, not usual_in(entry.id), order)
        if not left:
            found.append((rank, entry))
        elif len(left) < len(wanted) and unmodulated:  # the rest may be its modulation
            found += [(rank, made) for made in _modulated(entry, left, own_services)]
    found.sort(key=lambda one: one[0])
    return tuple(Found(entry, says_of(entry), usual_in(entry.id)) for _, entry in found[:most])


def usual_in(service_id: str) -> tuple[str, ...]:
    """Countries whose usual mode a service is."""
    return tuple(country for one in usual_modes() if one.service == service_id for country in one.countries)


def says_of(entry: Service) -> str:
    """What a service tolerates and requires, in words: ``guard interval 224 µs, required C/N 21 dB``."""
    ratio = "" if entry.required_cn_db is None else f", required C/N {written(entry.required_cn_db, 4)} dB"
    if entry.guard_us is not None:
        return f"guard interval {written(entry.guard_us, 4)} µs{ratio}"
    return f"tolerates {written(entry.tolerance_us, 4)} µs where signals are equally strong{ratio}"


def _modulated(entry: Service, left: list[str], own_services: str) -> Iterator[Service]:
    """The same with each modulation in which the words that are left are met."""
    for name in modulations(entry.family, own_services=own_services):
        pieces = name.split("-")
        if all(any(piece.startswith(word) for piece in (name, *pieces)) for word in left):
            yield service(f"{entry.id}-{name}", own_services=own_services)


@lru_cache(maxsize=4)
def _known(own_services: str) -> tuple[tuple[Service, frozenset[str], bool], ...]:
    """Every service, usual modes first: the words that it answers to, and whether a modulation may follow."""
    every = {entry.id: entry for entry in services(own_services=own_services)}
    usual = {one.service: service(one.service, own_services=own_services) for one in usual_modes()}
    both = {**usual, **every}
    return tuple((entry, frozenset(_words_of(entry)), name in every) for name, entry in both.items())


def _words_of(entry: Service) -> Iterator[str]:
    yield from (entry.id, entry.family)
    for text in (entry.id.replace("-", " "), entry.name, entry.kind, " ".join(usual_in(entry.id))):
        yield from _words(text)
    if entry.guard_us is not None:
        yield from (
            "guard",
            f"{written(entry.guard_us, 6)}us",
            f"{written(entry.guard_us, 4)}us",
            f"{entry.guard_us:.0f}us",
        )
    yield f"{written(entry.channel_mhz, 6)}mhz"


def _words(text: str) -> list[str]:
    """Words in small letters, a number joined to its unit."""
    plain = text.lower().replace("\u00b5", "u").replace("\u03bc", "u")
    plain = re.sub(r"[,()]", " ", plain)
    return re.sub(r"(\d) +(us|mhz|k|qam)\b", r"\1\2", plain).split()
