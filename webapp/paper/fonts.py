"""Fonts of this machine: which one has the letters of a name, and what is missing where none has.

Font folders are read, no program is asked. A font counts if its outlines can go into a PDF (TrueType or CFF,
collections too) and its licence bits allow that.
"""

import os
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
from pathlib import Path
from unicodedata import category, combining
from xml.etree.ElementTree import ParseError

import defusedxml
import uharfbuzz as hb
from defusedxml.ElementTree import parse

_SETTINGS = Path("/etc/fonts/fonts.conf")
_FOLDERS = ("/usr/share/fonts", "/usr/local/share/fonts", "/Library/Fonts", "/System/Library/Fonts", "C:/Windows/Fonts")
_OWN_FOLDERS = (".fonts", ".local/share/fonts", "Library/Fonts")
_ENDINGS = (".ttf", ".otf", ".ttc", ".otc")
_NEVER_EMBEDDED = 0x0002  # OS/2 fsType: restricted licence embedding
# A name is set upright and plain; these come after every font whose file is called otherwise.
_SECOND_BEST = "bold italic oblique light thin black medium condensed mono serif kufi rashi nastaliq looped ui".split()
# Joiners, variation selectors and marks of direction are drawn by no font.
_UNDRAWN = frozenset("\u200b\u200c\u200d\u2060\ufeff\u00ad\u034f") | {chr(n) for n in range(0xFE00, 0xFE10)}
_OF_ALL = frozenset(("Symbols", "Unknown"))
_EAST_ASIAN = "fonts-wqy-microhei"
_PACKAGES = {"Han": _EAST_ASIAN, "Hangul": _EAST_ASIAN, "Hiragana": _EAST_ASIAN, "Katakana": _EAST_ASIAN}
_PACKAGES |= {"Bopomofo": _EAST_ASIAN, "Symbols": "fonts-symbola", "Unknown": "fonts-noto"}


@dataclass(frozen=True, slots=True)
class FontFile:
    """One font: a file, and its place in it where the file is a collection."""

    path: Path
    number: int = 0

    def covers(self, letters: Iterable[str]) -> bool:
        """Whether it has a glyph for each."""
        has = _letters(self, _age(self.path))
        return all(ord(letter) in has for letter in letters)


@dataclass(frozen=True, slots=True)
class Missing:
    """Letters that no font of this machine has."""

    script: str
    package: str
    """The Debian package that brings a font."""


def built_in(style: str = "") -> FontFile:
    """DejaVu, which matplotlib ships: it has every sign that a sheet needs. `style` is a part of the file's name."""
    from matplotlib import get_data_path

    return FontFile(Path(get_data_path()) / "fonts" / "ttf" / f"DejaVuSans{style}.ttf")


def folders() -> tuple[Path, ...]:
    """Where this machine keeps fonts: the usual places, those of its user, and what fontconfig's settings add."""
    data = os.environ.get("XDG_DATA_HOME", "")
    home = [Path.home() / name for name in _OWN_FOLDERS]
    found = [*map(Path, _FOLDERS), *home, *([Path(data) / "fonts"] if data else []), *_configured()]
    return tuple(dict.fromkeys(found))


def _configured() -> Iterator[Path]:
    """The folders in fontconfig's settings that are written out in full."""
    try:
        root = parse(_SETTINGS).getroot()
    except (OSError, ParseError, defusedxml.DefusedXmlException):
        return
    for entry in root.iter("dir"):
        if entry.text and not entry.get("prefix") and not entry.text.startswith("~"):
            yield Path(entry.text.strip())


def script_of(letter: str) -> str:
    """The script of a letter, as Unicode names it; what belongs to no script or to all is a symbol."""
    return _script(ord(letter))


@lru_cache(4096)
def _script(code: int) -> str:
    from fpdf.unicode_script import UnicodeScript, get_unicode_script

    found: UnicodeScript = get_unicode_script(chr(code))
    return "Symbols" if found.name in ("COMMON", "INHERITED") else found.name.replace("_", " ").title()


def undrawn(letter: str) -> bool:
    """Whether nothing is drawn for it: joiners, selectors, marks of direction, line ends."""
    return letter in _UNDRAWN or category(letter) in ("Cc", "Cf")


def joined(before: str, letter: str) -> bool:
    """Whether a letter may not be parted from the one before it: marks, joiners, and what a virama binds."""
    return category(letter)[0] == "M" or letter in _UNDRAWN or before == "\u200d" or combining(before) == 9


class Fonts:
    """Which font each letter of a text is set in: the built-in one where it can, else one of this machine."""

    def __init__(self, text: str, among: Sequence[Path] | None = None) -> None:
        """Look for fonts for every letter of a text; `among` folders, by default this machine's."""
        self._plain = (built_in(), built_in("-Bold"))
        drawn = {letter for letter in set(text) if not undrawn(letter) and not letter.isspace()}
        lacked = {letter for letter in drawn if not self.in_built_in(letter)}
        scripts = {script_of(letter) for letter in lacked} - _OF_ALL
        wanted: dict[str, set[str]] = {}
        for letter in drawn:
            # A script of which DejaVu has a part is set in one font all the same: its letters join.
            if letter in lacked or script_of(letter) in scripts:
                wanted.setdefault(script_of(letter), set()).add(letter)
        files = _files(folders() if among is None else among) if wanted else ()
        self.used: list[FontFile] = []
        self._of: dict[str, int] = {}
        self._without: set[str] = set()
        for script in sorted(wanted):
            self._choose(wanted[script], files)

    def _choose(self, letters: set[str], files: Sequence[FontFile]) -> None:
        """Take the font that has most of a script's letters, then the next one for the rest."""
        left = set(letters)
        while left:
            has = {file: sum(file.covers(letter) for letter in left) for file in files}
            best = max(files, key=lambda file: (has[file], *_rank(file)), default=None)
            if best is None or not has[best]:
                self._without |= {letter for letter in left if not self.in_built_in(letter)}
                return
            if best not in self.used:
                self.used.append(best)
            self._of |= {letter: self.used.index(best) for letter in left if best.covers(letter)}
            left -= self._of.keys()

    def in_built_in(self, letter: str) -> bool:
        """Whether DejaVu has it, plain and bold."""
        return all(font.covers(letter) for font in self._plain)

    def number(self, letter: str) -> int:
        """Place in `used` of the font for a letter; -1 for the built-in one."""
        return self._of.get(letter, -1)

    def letters(self, number: int) -> list[str]:
        """Every letter that is set in the font of a number."""
        return [letter for letter, one in self._of.items() if one == number]

    def has(self, number: int, text: str) -> bool:
        """Whether the font of a number has every letter of a text that is drawn."""
        fonts = self._plain if number < 0 else (self.used[number],)
        letters = [letter for letter in text if not undrawn(letter)]
        return all(font.covers(letters) for font in fonts)

    def prints(self, text: Iterable[str]) -> bool:
        """Whether every letter of a text is drawn."""
        return self._without.isdisjoint(text)

    @property
    def without(self) -> Collection[str]:
        """Letters that no font has."""
        return self._without

    @property
    def missing(self) -> tuple[Missing, ...]:
        """The scripts of those letters, with what to install."""
        return self.missing_in(self._without)

    def missing_in(self, text: Iterable[str]) -> tuple[Missing, ...]:
        """The same of the letters of a text."""
        scripts = sorted({script_of(letter) for letter in self._without.intersection(text)})
        return tuple(Missing(script, _PACKAGES.get(script, "fonts-noto-core")) for script in scripts)


def _rank(file: FontFile) -> tuple[object, ...]:
    """Of two fonts with the same letters the greater is taken: plain ones, then Noto's; the name decides the rest."""
    name = file.path.stem.lower()
    turned = tuple(-ord(letter) for letter in str(file.path))
    return -sum(word in name for word in _SECOND_BEST), name.startswith("noto"), -file.number, turned


def _files(among: Sequence[Path]) -> tuple[FontFile, ...]:
    """Every usable font in some folders."""
    paths = {
        Path(folder, name)
        for one in among
        for folder, _, names in os.walk(one)
        for name in names
        if name.lower().endswith(_ENDINGS)
    }
    fonts = (FontFile(path, number) for path in sorted(paths) for number in range(_count(path, _age(path))))
    return tuple(font for font in fonts if _letters(font, _age(font.path)))


def _age(path: Path) -> int:
    """Changes with the file."""
    try:
        return path.stat().st_mtime_ns
    except OSError:
        return 0


@lru_cache(8192)
def _count(path: Path, _age: int) -> int:
    """How many fonts a file has; none where it cannot be read."""
    try:
        with path.open("rb") as file:
            head = file.read(12)
    except OSError:
        return 0
    if head[:4] == b"ttcf" and len(head) == 12:
        return min(int.from_bytes(head[8:], "big"), 64)
    return 1 if head[:4] in (b"\0\1\0\0", b"OTTO", b"true") else 0


@lru_cache(8192)
def _letters(font: FontFile, _age: int) -> Collection[int]:
    """The letters of a font that a PDF may carry; none of one that it may not, or that cannot be read."""
    try:
        face = hb.Face(hb.Blob.from_file_path(str(font.path)), font.number)
        os2 = face.reference_table("OS/2").data
        outlines = {"glyf", "CFF "} & set(face.table_tags)
        locked = len(os2) >= 10 and int.from_bytes(os2[8:10], "big") & 0x000F == _NEVER_EMBEDDED
        # One with axes begins at whatever its maker chose, often the thinnest.
        if not outlines or len(os2) < 10 or locked or "fvar" in face.table_tags:
            return frozenset()
        found: Collection[int] = face.unicodes
    except (OSError, hb.HarfBuzzError, ValueError):
        return frozenset()
    return found


def clusters(text: str) -> list[str]:
    """A text in pieces that no line may break: a letter with its marks, joined letters together."""
    pieces: list[str] = []
    for letter in text:
        if pieces and joined(pieces[-1][-1], letter):
            pieces[-1] += letter
        else:
            pieces.append(letter)
    return pieces


def runs(text: str, fonts: Fonts) -> list[tuple[int, str]]:
    """A text in runs of one font, each with the font's number; marks and joiners go with the letter before them."""
    if all(fonts.number(letter) < 0 for letter in text):
        return [(-1, text)] if text else []
    numbered: list[tuple[int, str]] = []
    for piece in clusters(text):
        number = fonts.number(piece[0])
        if fonts.has(number, piece):
            numbered.append((number, piece))
        else:  # no font has the whole of it
            numbered += [(fonts.number(letter), letter) for letter in piece if not undrawn(letter)]
    return [(number, "".join(piece for _, piece in run)) for number, run in groupby(numbered, key=lambda one: one[0])]
