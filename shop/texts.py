"""What may stand in one line of text and in a plain number, on a page as over HTTP."""

import re
import unicodedata

NOT_ONE_LINE = "This is one line: it holds a line break or another character that cannot be printed. Type it again."
NOT_PLAIN = "Write a number with the digits 0 to 9 and a point, as 12.50."

_PLAIN = re.compile(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)")


def one_line(text: str) -> bool:
    """Whether it prints as one line; blanks around it do not count."""
    return not any(unicodedata.category(each) in ("Cc", "Zl", "Zp") for each in text.strip())


def plain_number(text: str) -> bool:
    """Whether it is a decimal number in ASCII: no digits of other scripts, no exponent, no digits grouped."""
    return _PLAIN.fullmatch(text.strip()) is not None


def printable(text: str) -> str:
    """For a terminal: what somebody typed neither begins a line of its own nor steers the terminal."""
    return "".join(sign if sign.isprintable() else " " for sign in text)
