"""Widths of a table's columns: none is lost, no figure is cut, wishes are met where there is room."""

from collections.abc import Callable, Sequence

from webapp.paper.words import Word

_LONGEST_WHOLE = 24
"""Letters: a longer word without a space is no figure of ours, and may be broken."""
_LEAST_BROKEN = 8
"""Letters of a broken word that stay side by side."""


def column_widths(
    rows: Sequence[Sequence[Sequence[Word]]],
    *,
    shares_pct: Sequence[float | None],
    word_mm: Callable[[Word], float],
    space_mm: float,
    pad_mm: float,
    whole_mm: float,
    forced: bool,
) -> list[float]:
    """Widths that hold every figure on one line. [mm]

    Parameters
    ----------
    rows : sequence of rows of cells of words
    shares_pct : sequence of float or None
        Wished share of each column.
    word_mm : callable
        Width of a word.
    space_mm, pad_mm, whole_mm : float
        Of a space, of both paddings of a cell, of the table. [mm]
    forced : bool
        Break words that are no figures too, rather than give up.

    Returns
    -------
    widths : list of float
        Empty where the figures have no room.
    """
    columns_n = max((len(row) for row in rows), default=0)
    if not columns_n:
        return []
    least, wished = [pad_mm] * columns_n, [pad_mm] * columns_n
    for row in rows:
        for place, cell in enumerate(row):
            widths = [word_mm(word) for word in cell]
            kept = [_least(word, width, forced=forced) for word, width in zip(cell, widths, strict=True)]
            least[place] = max(least[place], pad_mm + max(kept, default=0.0) + 0.1)
            natural = sum(widths) + space_mm * max(len(cell) - 1, 0)
            wished[place] = max(wished[place], min(pad_mm + natural + 0.1, whole_mm))
    room = whole_mm - sum(least)
    if room < 0:
        return [width * whole_mm / sum(least) for width in least] if forced else []
    shares = [*shares_pct, *([None] * columns_n)][:columns_n]
    if all(share is not None for share in shares):
        wished = [whole_mm * share / 100 for share in shares if share is not None]
    more = [max(wish - low, 0.0) for wish, low in zip(wished, least, strict=True)]
    if not sum(more):
        more = least
    return [low + room * extra / sum(more) for low, extra in zip(least, more, strict=True)]


def _least(word: Word, width_mm: float, *, forced: bool) -> float:
    """What a word needs side by side: all of it, unless it is so long that it may be broken."""
    letters = len(word.text)
    most = _LONGEST_WHOLE
    if forced and not any(letter.isdigit() for letter in word.text):
        most = _LEAST_BROKEN
    return width_mm if letters <= most else width_mm * _LEAST_BROKEN / letters
