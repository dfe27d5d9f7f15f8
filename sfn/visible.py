"""Characters that nobody sees, shown: marks that turn the direction of what follows, and control characters.

A name with such a mark would be read otherwise than it is written: an instruction to set, or to mute, another site.
"""

import unicodedata

# Marks of the bidirectional algorithm (Unicode Standard Annex 9), explicit and implicit.
TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200e\u200f\u061c")
# Letters and marks that nothing is drawn of: Default_Ignorable_Code_Point of the Unicode Character Database, from
# memory, as far as `str.isprintable` takes them for printable.
UNDRAWN = frozenset(
    map(
        chr,
        (
            0x034F, 0x115F, 0x1160, 0x17B4, 0x17B5, 0x180B, 0x180C, 0x180D, 0x180F, 0x3164, 0xFFA0,
            *range(0xFE00, 0xFE10), *range(0xE0100, 0xE01F0),
        ),
    )
)  # fmt: skip
_LAYOUT = "\n\r\t"
_SHOWN = {
    ord(c): f"[U+{ord(c):04X}]"
    for c in (*TURNING, *map(chr, range(0x20)), *map(chr, range(0x7F, 0xA0)))
    if c not in _LAYOUT and (c in TURNING or unicodedata.category(c) == "Cc")
}


def visible(text: str) -> str:
    r"""A text with every such character by its number; line ends and tabs stay.

    Examples
    --------
    >>> visible("Rid\u202ege")
    'Rid[U+202E]ge'
    """
    return text.translate(_SHOWN)
