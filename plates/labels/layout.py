"""One label as shapes on its paper: positions in mm from its top left corner, x to the right and y down.

What is written never leaves its room: a code is broken into rows and set as large as they fit; lines shrink, and where
they would get too small to read the last ones are left out. Widths are those of Helvetica.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from reportlab.pdfbase.pdfmetrics import stringWidth

from plates.labels.contents import Content
from plates.labels.sheets import Size
from plates.labels.symbols import LEAST_BAR, LEAST_SQUARE, QR_QUIET, Symbol, code_128, module_of, qr_code, qr_wide
from plates.lengths import MM

#: The smallest letters that are printed, and those that are read without bending down, in mm.
LEAST_TEXT, GOOD_TEXT = 1.5, 3.4
#: A line to write on, with gloves.
WRITE_TALL = 5.5
#: From one row of text to the next, in sizes; and from the top of a row to where its letters stand.
ROW, BASE = 1.2, 0.95
BARS_APART = 1.0
LONGEST_LINE = 90


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
    size: Size
    said: str
    shapes: Sequence[Text | Rule | Print]


@dataclass(frozen=True)
class Box:
    x: float
    y: float
    wide: float
    tall: float


def has_bars(scan: str, size: Size) -> bool:
    """Whether a label of this size has room for Code 128, wide enough to be read."""
    return _bars(scan, _inner(size)) is not None


def label_of(content: Content, size: Size) -> Label:
    """The QR Code to the right, what is read by eye to the left of it, Code 128 below where it has room; ``size`` is
    at least ``sheets.LEAST``.
    """
    room, said = _inner(size), f"{content.head} {content.code}"
    bars = _bars(content.scan, room)
    below = [bars] if bars else []
    if bars:
        room = replace(room, tall=bars.y - BARS_APART - room.y)
    module = _square(content.scan, room)
    if module is None:
        raise ValueError(f"{said} does not fit on {size}.")
    square = qr_code(content.scan)
    side, quiet = (square.wide + 2 * square.quiet) * module, square.quiet * module
    symbol = Print(room.x + room.wide - side + quiet, room.y + quiet, square, module, module)
    return Label(size, said, [symbol, *_written(content, replace(room, wide=room.wide - side)), *below])


def _inner(size: Size) -> Box:
    wide, tall = size.wide_nm / MM, size.tall_nm / MM
    pad = min(3.0, max(1.5, tall / 16))
    return Box(pad, pad, wide - 2 * pad, tall - 2 * pad)


def _bars(scan: str, room: Box) -> Print | None:
    """Code 128 at the foot, in the middle; None where it has no room, or takes it from the QR Code."""
    symbol = code_128(scan)
    across = module_of(room.wide, symbol.wide + 2 * symbol.quiet, LEAST_BAR, 0.5)
    down = min(10.0, max(5.0, room.tall / 4.5))
    if across is None or _square(scan, replace(room, tall=room.tall - down - BARS_APART)) is None:
        return None
    return Print(room.x + (room.wide - symbol.wide * across) / 2, room.y + room.tall - down, symbol, across, down)


def _square(scan: str, room: Box) -> float | None:
    """How wide a module of the QR Code is in this room; None when it has none."""
    return module_of(min(room.tall, room.wide * 0.4), qr_wide(scan) + 2 * QR_QUIET, LEAST_SQUARE, 1.0)


def _written(content: Content, room: Box) -> Iterable[Text | Rule]:
    """From the top: the sort, the code, a rule, the lines, and what is left for writing by hand."""
    head = min(2.6, max(LEAST_TEXT, room.tall / 12))
    yield Text(room.x, room.y + head * BASE, head, content.head)
    y = room.y + head * ROW
    rest = room.y + room.tall - y
    code = Box(room.x, y, room.wide, rest * (0.26 if content.write else 0.44))
    yield from _code(content.code, code)
    y += code.tall
    yield Rule(room.x, y, room.wide, 0.25)
    left = room.y + room.tall - y - 0.6
    write = min(len(content.write), int(left * 0.78 / WRITE_TALL))
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
    """Rows no wider than so many sizes; a figure stays beside its unit, and a word that is wider is broken."""
    rows = [""]
    for word in re.split(r" +(?!(?:in|mm)\b)", line):
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
