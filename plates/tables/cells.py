"""Cells of a table as text: what a spreadsheet must not run, and figures in a column of one unit."""

import re

#: Where a spreadsheet may see a cell begin: at the start, and, where it parts cells by another sign than the file,
#: behind a semicolon, a tab or a line end; in both places behind quotes that it may take no heed of.
_BEGINS = r"((?:^|[;\t\r\n])\"*)"
#: What makes it take such a cell for a formula, behind any number of apostrophes; wide forms come from some keyboards.
_RUNS = r"(?='*[=+\-@＝＋－＠\t\r])"
_FORMULA = re.compile(_BEGINS + _RUNS)
_GUARDED = re.compile(f"{_BEGINS}'{_RUNS}")


def guarded(text: str) -> str:
    """The text with an apostrophe before each place where a spreadsheet would run it."""
    return _FORMULA.sub(r"\1'", text)


def unguarded(cell: str) -> str:
    """Takes off exactly what :func:`guarded` puts on."""
    return _GUARDED.sub(r"\1", cell)


def exact(length_nm: int, unit_first: str) -> str:
    """A length that reads back to the nanometre: inch to four places where that is exact and comes first, else mm."""
    if unit_first == "in" and length_nm % 2_540 == 0:
        return f"{length_nm // 25_400_000}.{length_nm % 25_400_000 // 2_540:04} in"
    whole, rest = divmod(length_nm, 1_000_000)
    places = f"{rest:06}"
    return f"{whole}.{places[:3]}{places[3:].rstrip('0')} mm"
