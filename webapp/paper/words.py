"""Words on paper: spelled with ids where no font is, in the right direction, each piece in one font, in lines.

Names stand as isolates in an English line (Unicode Standard Annex 9): a number after an Arabic name stays where
it is. Every shaped piece carries its text (`ActualText`), so that it is found and copied whole.
"""

import re
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import TypeVar
from unicodedata import bidirectional

from sfn.visible import TURNING
from webapp.paper.fonts import Fonts, clusters, runs, script_of

T = TypeVar("T")
FSI, PDI = "\u2068", "\u2069"
_RIGHT = ("R", "AL")
_SPACES = re.compile("[ \t\n\r\f\u1680\u2000-\u2006\u2008-\u200a\u205f\u3000]+")


@dataclass(frozen=True, slots=True)
class Span:
    """Text of one style."""

    text: str
    bold: bool = False


@dataclass(frozen=True, slots=True)
class Piece:
    """Letters of one word, style, font and direction."""

    text: str
    font: int
    """Place in `Fonts.used`; -1 for the built-in one."""
    bold: bool
    level: int
    """Of the bidirectional algorithm: odd ones go to the left."""

    @property
    def shaped(self) -> bool:
        """Whether its letters join or turn; all others are set one by one, so that no figure ever changes shape."""
        return self.font >= 0 or any(bidirectional(letter) in _RIGHT for letter in self.text)


@dataclass(frozen=True, slots=True)
class Word:
    """What stands between two spaces."""

    pieces: tuple[Piece, ...]
    space_level: int
    """Of the space before it."""
    new_line: bool = False
    """Whether it begins a line."""

    @property
    def text(self) -> str:
        """Its letters."""
        return "".join(piece.text for piece in self.pieces)


Line = tuple[Word, ...]


def spelled(text: str, names: Mapping[str, str], fonts: Fonts) -> str:
    """A text with what cannot be printed said in brackets: a name by its id, anything else by its script.

    Parameters
    ----------
    text : str
    names : mapping of str to str
        What stands for each name, such as a site's id.
    fonts : Fonts
    """
    if fonts.prints(text):
        return text
    for name in sorted((name for name in names if not fonts.prints(name)), key=len, reverse=True):
        text = text.replace(name, f"[{names[name]}]")
    pieces = []
    for printed, letters in groupby(text, key=lambda letter: letter not in fonts.without):
        found = "".join(letters)
        pieces.append(found if printed else f"[{script_of(found[0])}: no font]")
    # Marks and spaces within a name that is not there are nothing to read.
    return re.sub(r"(\[[^\][]+: no font\])(?:[\s\W]*\1)+", r"\1", "".join(pieces))


def isolated(text: str, names: Collection[str]) -> str:
    """A text in which what is written from right to left moves nothing around it; turning marks of its own are gone."""
    text = "".join(letter for letter in text if letter not in TURNING)
    kinds = "".join(map(_kind, text))
    if "R" not in kinds:
        return text
    found: list[tuple[int, int]] = []
    for name in sorted((name for name in names if "R" in map(_kind, name)), key=len, reverse=True):
        for place in re.finditer(re.escape(name), text):
            if "K" not in kinds[place.start() : place.end()]:
                found.append(place.span())
                kinds = kinds[: place.start()] + "K" * len(name) + kinds[place.end() :]
    # Else from the first to the last letter of a stretch without a letter that goes to the right.
    found += [place.span() for place in re.finditer("R(?:[^LKN]*R)?M*", kinds)]
    for start, end in sorted(found, reverse=True):
        text = f"{text[:start]}{FSI}{text[start:end]}{PDI}{text[end:]}"
    return text


def _kind(letter: str) -> str:
    """R goes to the left, L to the right, M is a mark, N ends a line, x is anything else."""
    found = bidirectional(letter)
    return {"R": "R", "AL": "R", "L": "L", "NSM": "M"}.get(found, "N" if letter == "\n" else "x")


def words(spans: Sequence[Span], fonts: Fonts) -> Iterator[Word]:
    """The words of a paragraph, in the order in which they are read."""
    text = "".join(span.text for span in spans)
    bold = [span.bold for span in spans for _ in span.text]
    levels = [0] * len(text)
    if any(bidirectional(letter) in (*_RIGHT, "AN") for letter in text):
        from fpdf.bidi import BidiParagraph
        from fpdf.enums import TextDirection

        for one in BidiParagraph(text, TextDirection.LTR, preserve_bn_chars=True).get_characters():
            levels[one.character_index] = one.embedding_level
    start, space_level, new_line = 0, 0, False
    for gap in [*_SPACES.finditer(text), None]:
        end = len(text) if gap is None else gap.start()
        pieces = tuple(_pieces(text[start:end], bold[start:end], levels[start:end], fonts))
        if pieces:
            yield Word(pieces, space_level, new_line)
            new_line = False
        if gap is not None:
            start, space_level, new_line = gap.end(), levels[gap.start()], new_line or "\n" in gap[0]


def _pieces(text: str, bold: Sequence[bool], levels: Sequence[int], fonts: Fonts) -> Iterator[Piece]:
    """A word in pieces of one style, direction and font."""
    styles = zip(bold, levels, text, strict=True)
    for (strong, level), found in groupby(styles, key=lambda one: one[:2]):
        letters = "".join(letter for *_, letter in found if letter not in TURNING)
        for number, run in runs(letters, fonts):
            yield Piece(run, number, strong, level)


def lines(
    found: Sequence[Word],
    *,
    width: Callable[[Piece], float],
    space: Callable[[Word], float],
    most: Callable[[int], float],
) -> list[Line]:
    """Words in lines; one that is longer than a whole line is broken between letters.

    Parameters
    ----------
    found : sequence of Word
    width : callable
        Of a piece.
    space : callable
        Of the space before a word.
    most : callable
        Of a line's number, from 0: how wide it may be. The unit is the caller's.
    """
    made: list[Line] = []
    line: list[Word] = []
    used = 0.0
    left = list(reversed(found))
    while left:
        word = left.pop()
        needed = sum(width(piece) for piece in word.pieces)
        before = space(word) if line else 0.0
        room = most(len(made)) - used - before
        if not (word.new_line and line) and needed <= room:
            line.append(word)
            used += before + needed
            continue
        if line:
            made.append(tuple(line))
            line, used = [], 0.0
            left.append(Word(word.pieces, word.space_level))
            continue
        head, rest = _broken(word, room, width)
        made.append((head,))
        if rest.pieces:
            left.append(rest)
    return [*made, tuple(line)] if line else made


def _broken(word: Word, room: float, width: Callable[[Piece], float]) -> tuple[Word, Word]:
    """As much of a word as there is room for, at least one letter, and the rest."""
    head: list[Piece] = []
    for place, piece in enumerate(word.pieces):
        needed = width(piece)
        if needed <= room:
            head.append(piece)
            room -= needed
            continue
        letters = clusters(piece.text)
        fits = _most_that_fits(piece, letters, room, width)
        if fits == 0 and not head:
            fits = 1
        if fits:
            head.append(_part(piece, letters[:fits]))
        rest = (_part(piece, letters[fits:]),) if fits < len(letters) else ()
        return Word(tuple(head), 0), Word((*rest, *word.pieces[place + 1 :]), 0)
    return Word(tuple(head), 0), Word((), 0)


def _most_that_fits(piece: Piece, letters: Sequence[str], room: float, width: Callable[[Piece], float]) -> int:
    """How many letters from the beginning fit, by halving."""
    low, high = 0, len(letters)
    while low < high:
        middle = (low + high + 1) // 2
        if width(_part(piece, letters[:middle])) <= room:
            low = middle
        else:
            high = middle - 1
    return low


def _part(piece: Piece, letters: Sequence[str]) -> Piece:
    """The same with other letters."""
    return Piece("".join(letters), piece.font, piece.bold, piece.level)


def in_order(items: Sequence[tuple[int, T]]) -> list[T]:
    """Items of a line with their levels, in the order from left to right (rule L2)."""
    placed = list(items)
    for level in range(max((level for level, _ in placed), default=0), 0, -1):
        start = 0
        while start < len(placed):
            end = start
            while end < len(placed) and placed[end][0] >= level:
                end += 1
            placed[start:end] = reversed(placed[start:end])
            start = max(end, start + 1)
    return [item for _, item in placed]
