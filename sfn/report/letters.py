"""Letters of names in pictures: set in fonts of this machine where DejaVu lacks them, in words where none has them.

matplotlib takes each letter from the first font of a list that has it, and draws an empty box where none does. Since
3.11 it shapes what it sets (Arabic joins, Devanagari turns); before, such letters would be wrong, and stand in words.
"""

from collections.abc import Iterable
from functools import lru_cache
from itertools import groupby
from typing import TYPE_CHECKING
from unicodedata import bidirectional, category, east_asian_width, name

if TYPE_CHECKING:
    from matplotlib.figure import Figure

BRACKETS_SAY = "In square brackets: letters of a name that no font of this machine has"
BUILT_IN = "DejaVu Sans"
_NEVER = ("Last Resort", BUILT_IN)  # the first has a box for everything
_SECOND_BEST = ("mono", "serif", "kufi", "nastaliq", "looped", "unjoined", "display", "condensed")
_SELECTORS = range(0xFE00, 0xFE10)
# Letters that change with their neighbours: Indic scripts, Tibetan, Myanmar, Khmer.
_TURNING = (range(0x0900, 0x0E00), range(0x0F00, 0x10A0), range(0x1780, 0x1800))


def set_in_fonts(figure: "Figure") -> bool:
    """Give every text of a figure fonts that have its letters; those that none has stand in words, in square brackets.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
        Complete, right before it is written.

    Returns
    -------
    in_words : bool
        Whether some text bears such brackets: `BRACKETS_SAY` then belongs beside the picture.
    """
    from matplotlib.text import Text

    in_words = False
    for one in figure.findobj(Text):
        assert isinstance(one, Text)
        families, unknown = _fonts_for(_lacking(one.get_text()))
        if not one.get_text().isascii():  # its serif sister lacks letters that DejaVu Sans has
            one.set_fontfamily([*one.get_fontfamily(), BUILT_IN, *families])
        if unknown:
            one.set_text(written_out(one.get_text(), unknown))
            in_words = True
    return in_words


def unknown_in(texts: Iterable[str]) -> frozenset[str]:
    """The letters of some texts that no font of this machine has."""
    return _fonts_for(_lacking("".join(texts)))[1]


def written_out(text: str, unknown: frozenset[str]) -> str:
    """``Tower [tokyo tower]``, ``[4 Hangul letters]``: what no font has, as Unicode names it."""
    said = []
    for kind, letters in groupby(text, key=lambda letter: _kind(letter) if letter in unknown else None):
        run = list(letters)
        if kind is None:
            said.append("".join(run))
        elif kind[0]:
            said.append(f"[{len(run)} {kind[1]} letter{'s' if len(run) > 1 else ''}]")
        else:
            said.append("".join(f"[{kind[1]}]" for _ in run))
    return "".join(said)


def letters_wide(text: str) -> float:
    """How many usual letters a text is wide: those of East Asia take nearly two, marks none."""
    return sum(0.0 if category(one)[0] == "M" else 1.8 if east_asian_width(one) in "WF" else 1.0 for one in text)


def _kind(letter: str) -> tuple[bool, str]:
    """Whether it is a letter of a script, and the script's name; of anything else its own."""
    called = name(letter, "")
    if category(letter)[0] in "LM" and called:
        script = called.split()[0]
        return True, script if script == "CJK" else script.capitalize()
    return False, called.lower() or f"U+{ord(letter):04X}"


def _lacking(text: str) -> frozenset[str]:
    """Letters of a text that the built-in font does not set."""
    from matplotlib.font_manager import findfont

    drawn = {
        one for one in text if not one.isspace() and category(one) not in ("Cc", "Cf") and ord(one) not in _SELECTORS
    }
    has = _letters_of(str(findfont(BUILT_IN)))
    return frozenset(one for one in drawn if ord(one) not in has or not _set_right(one))


def _set_right(letter: str) -> bool:
    """Whether this matplotlib sets such a letter as its script wants it."""
    return _shapes() or not (bidirectional(letter) in ("R", "AL") or any(ord(letter) in part for part in _TURNING))


@lru_cache(1)
def _shapes() -> bool:
    """Whether this matplotlib shapes what it sets."""
    from matplotlib import ft2font

    return hasattr(ft2font, "__libraqm_version__")


@lru_cache(256)
def _fonts_for(letters: frozenset[str]) -> tuple[tuple[str, ...], frozenset[str]]:
    """Families that have the letters between them, and the letters that none of them has."""
    left = {one for one in letters if _set_right(one)}
    families: list[str] = []
    while left:
        has = {family: sum(ord(one) in _letters_of(path) for one in left) for family, path in _files()}
        best = max(has, key=lambda family: has[family], default="")
        if not best or not has[best]:
            break
        families.append(best)
        found = _letters_of(dict(_files())[best])
        left = {one for one in left if ord(one) not in found}
    return tuple(families), frozenset(left | {one for one in letters if not _set_right(one)})


@lru_cache(1)
def _files() -> tuple[tuple[str, str], ...]:
    """Upright fonts of this machine with outlines, family and file, the plainest first."""
    from matplotlib.font_manager import fontManager

    found = {
        one.name: one.fname
        for one in fontManager.ttflist
        if one.style == "normal"
        and one.weight == 400
        and not getattr(one, "index", 0)
        and not one.name.startswith(_NEVER)
    }

    def rank(family: str) -> tuple[object, ...]:
        plain = sum(word in family.lower() for word in _SECOND_BEST)
        return plain, not family.startswith("Noto Sans"), family

    return tuple((family, found[family]) for family in sorted(found, key=rank))


@lru_cache(1024)
def _letters_of(path: str) -> frozenset[int]:
    """Code points of a font; none of one that cannot be read, or that has pictures instead of outlines."""
    from matplotlib.font_manager import get_font

    try:
        font = get_font(path)
        return frozenset(font.get_charmap()) if font.scalable else frozenset()
    except (OSError, RuntimeError, ValueError):
        return frozenset()
