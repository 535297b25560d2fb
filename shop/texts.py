"""What may stand in one line of text and in a plain number, on a page as over HTTP."""

import re
import unicodedata

NOT_PLAIN = "Write a number with the digits 0 to 9 and a point, as 12.50."

_NOT_ONE_LINE = "This is one line: it holds a line break or another character that cannot be printed. Type it again."
#: Marks, embeddings and overrides of writing direction: they let a text look like another one.
_TURNS = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_PLAIN = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)")


def line_refused(text: str) -> str:
    """Why this cannot stand in one line and be read as it is written, or nothing; blanks around it do not count."""
    for each in text.strip():
        if each in _TURNS:
            return f"It holds a mark of writing direction that nobody sees, U+{ord(each):04X}. Type it again by hand."
        if unicodedata.category(each) in ("Cc", "Zl", "Zp"):
            return _NOT_ONE_LINE
    return ""


def plain_number(text: str) -> bool:
    """Whether it is a decimal number in ASCII: no digits of other scripts, no exponent, no digits grouped."""
    return _PLAIN.fullmatch(text.strip()) is not None


def printable(text: str) -> str:
    """For a terminal: what somebody typed neither begins a line of its own nor steers the terminal."""
    return "".join(sign if sign.isprintable() else " " for sign in text)
