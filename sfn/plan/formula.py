"""Text in the cells of a table that leaves: a spreadsheet must take it as text, and reading gives it back as it was.

What begins with one of `BEGINS` is run as a formula by a spreadsheet that opens the file, whoever typed it. Such a
text leaves with an apostrophe before it, and so does one that would look guarded without being so.
"""

BEGINS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""The last four are the same signs in full width, which some spreadsheets take as formulas too."""


def guarded(text: str) -> str:
    """A text that a spreadsheet takes as text.

    Examples
    --------
    >>> guarded("=1+1"), guarded("'=1+1"), guarded("North"), guarded("'North")
    ("'=1+1", "''=1+1", 'North', "'North")
    """
    return "'" + text if text.lstrip("'").startswith(BEGINS) else text


def unguarded(cell: str) -> str:
    """The text that `guarded` made a cell of; any other cell stays as it is.

    Examples
    --------
    >>> unguarded("'=1+1"), unguarded("''=1+1"), unguarded("'North"), unguarded("=1+1")
    ('=1+1', "'=1+1", "'North", '=1+1')
    """
    return cell[1:] if cell.startswith("'") and cell.lstrip("'").startswith(BEGINS) else cell


def kept(text: str) -> str:
    """A text for a cell that is text by its type, or that only we read: guarded where reading would change it.

    Examples
    --------
    >>> kept("=1+1"), kept("'=1+1")
    ('=1+1', "''=1+1")
    """
    return guarded(text) if unguarded(text) != text else text
