"""One label as shapes on its paper: positions in mm from its top left corner, x to the right and y down.

What is written never leaves its room: a code is broken into rows and set as large as they fit; lines shrink, and where
they would get too small to read the last ones are left out. Widths are those of Helvetica.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from reportlab.pdfbase.pdfmetrics import stringWidth

from plates.labels.contents import Content
from plates.labels.sheets import Size
from plates.labels.symbols import LEAST_BAR, LEAST_SQUARE, Symbol, code_128, module_of, qr_code
from plates.lengths import MM
from shop.errors import Refusal

#: The smallest letters that are printed, and those that are read without bending down, in mm.
LEAST_TEXT, GOOD_TEXT = 1.5, 3.4
#: A line to write on, with gloves.
WRITE_TALL = 5.5
#: From one row of text to the next, in sizes; and from the top of a row to where its letters stand.
ROW, BASE = 1.2, 0.95
LONGEST_LINE = 90


class LabelTooSmall(Refusal):
    code, title = "label_too_small", "The label is too small for its code"


@dataclass(frozen=True)
class Text:
    """``y`` is where the letters stand."""

    x: float
    y: float
    size: float
    said: str
    bold: bool = False

    @property
    def wide(self) -> float:
        return width(self.said, self.bold) * self.size


@dataclass(frozen=True)
class Rule:
    """A thin line to the right."""

    x: float
    y: float
    wide: float
    thick: float


@dataclass(frozen=True)
class Print:
    """A symbol, its top left corner at (x, y)."""

    x: float
    y: float
    symbol: Symbol
    across: float  # mm of a module
    down: float


@dataclass(frozen=True)
class Label:
    """``bars``: whether there was room for Code 128 beside the QR Code."""

    size: Size
    said: str
    shapes: Sequence[Text | Rule | Print]
    bars: bool


@dataclass(frozen=True)
class Box:
    x: float
    y: float
    wide: float
    tall: float


def label_of(content: Content, size: Size) -> Label:
    """The label of this content. Raises LabelTooSmall where not even the QR Code has room."""
    wide, tall = size.wide_nm / MM, size.tall_nm / MM
    pad = min(3.0, max(1.5, tall / 16))
    inner = Box(pad, pad, wide - 2 * pad, tall - 2 * pad)
    return _with_bars(content, size, inner) or _without_bars(content, size, inner)


def _with_bars(content: Content, size: Size, inner: Box) -> Label | None:
    bars = code_128(content.scan)
    across = module_of(inner.wide, bars.wide + 2 * bars.quiet, LEAST_BAR, 0.5)
    high = min(10.0, max(5.0, inner.tall / 4.5))
    above = Box(inner.x, inner.y, inner.wide, inner.tall - high - 1)
    shapes = _above(content, above)
    if across is None or shapes is None:
        return None
    x = inner.x + (inner.wide - bars.wide * across) / 2
    return Label(size, _said(content), [*shapes, Print(x, inner.y + inner.tall - high, bars, across, high)], True)


def _without_bars(content: Content, size: Size, inner: Box) -> Label:
    shapes = _above(content, inner)
    if shapes is None:
        raise LabelTooSmall(f"The code of {_said(content)} does not fit on a label of {size}. Take a larger one.")
    return Label(size, _said(content), shapes, False)


def _said(content: Content) -> str:
    return f"{content.head} {content.code}"


def _above(content: Content, room: Box) -> list[Text | Rule | Print] | None:
    """The QR Code to the right, what is read by eye to the left of it; None when the QR Code has no room."""
    square = qr_code(content.scan)
    modules = square.wide + 2 * square.quiet
    module = module_of(min(room.tall, room.wide * 0.4), modules, LEAST_SQUARE, 1.0)
    if module is None:
        return None
    side, quiet = modules * module, square.quiet * module
    symbol = Print(room.x + room.wide - side + quiet, room.y + quiet, square, module, module)
    return [symbol, *_written(content, Box(room.x, room.y, room.wide - side, room.tall))]


def _written(content: Content, room: Box) -> Iterable[Text | Rule]:
    """From the top: the sort, the code, a rule, the lines, and what is left for writing by hand."""
    head = min(2.6, max(LEAST_TEXT, room.tall / 12))
    yield Text(room.x, room.y + head * BASE, head, content.head)
    y = room.y + head * ROW
    rest = room.y + room.tall - y
    code = Box(room.x, y, room.wide, rest * (0.34 if content.write else 0.46))
    yield from _code(content.code, code)
    y += code.tall
    yield Rule(room.x, y, room.wide, 0.25)
    left = room.y + room.tall - y - 0.6
    write = min(len(content.write), int(left * 0.7 / WRITE_TALL))
    lines = Box(room.x, y + 0.6, room.wide, left - write * WRITE_TALL)
    yield from _lines(content.lines, lines)
    for row, said in enumerate(content.write[:write]):
        foot = lines.y + lines.tall + (row + 1) * WRITE_TALL - 0.3
        word = Text(room.x, foot - 0.5, min(2.4, lines.wide / 12), said)
        yield word
        yield Rule(word.x + word.wide + 1, foot, room.wide - word.wide - 1, 0.2)


def _code(code: str, room: Box) -> Iterable[Text]:
    """In as many rows as make it largest."""
    size, rows = max(
        (min(room.tall / (len(rows) * 1.04), room.wide / max(width(row, True) for row in rows)), rows)
        for rows in (_broken(printable(code), count) for count in range(1, 5))
    )
    for number, row in enumerate(rows):
        yield Text(room.x, room.y + size * (0.8 + 1.04 * number), size, row, True)


def _broken(code: str, count: int) -> list[str]:
    """A code in so many rows of about the same length, broken behind a sign where one is near."""
    rows: list[str] = []
    while count > 1 and len(code) > count:
        at = round(len(code) / count)
        near = [cut for cut in (at, at + 1, at - 1, at + 2, at - 2) if 0 < cut < len(code) and code[cut - 1] in "-._ "]
        at = near[0] if near else at
        rows.append(code[:at])
        code, count = code[at:], count - 1
    return [*rows, code]


def _lines(lines: Sequence[str], room: Box) -> Iterable[Text]:
    """Shrunk until all of them fit, each wrapped; the last ones go when they would get too small to read."""
    lines = [short(printable(line)) for line in lines]
    while lines:
        size = GOOD_TEXT
        while size >= LEAST_TEXT:
            rows = [row for line in lines for row in _wrapped(line, room.wide / size)]
            if len(rows) * size * ROW <= room.tall:
                for number, row in enumerate(rows):
                    yield Text(room.x, room.y + size * (BASE + ROW * number), size, row)
                return
            size *= 0.96
        lines = lines[:-1]


def _wrapped(line: str, wide: float) -> list[str]:
    """Rows no wider than so many sizes; a word that is wider by itself is broken."""
    rows = [""]
    for word in line.split():
        joined = f"{rows[-1]} {word}".strip()
        if width(joined) <= wide:
            rows[-1] = joined
            continue
        if rows[-1]:
            rows.append("")
        for letter in word:
            if width(rows[-1] + letter) > wide:
                rows.append("")
            rows[-1] += letter
    return rows


def width(said: str, bold: bool = False) -> float:
    """How wide it is printed, in sizes."""
    return float(stringWidth(said, "Helvetica-Bold" if bold else "Helvetica", 1))


def printable(said: str) -> str:
    """With a question mark for what the print font does not have: it has the letters of western Europe."""
    plain = "".join(letter if letter.isprintable() else " " for letter in said)
    return plain.encode("cp1252", "replace").decode("cp1252")


def short(line: str) -> str:
    return line if len(line) <= LONGEST_LINE else line[: LONGEST_LINE - 1] + "…"
