"""QR Code and Code 128 as black rectangles on a grid of modules."""

import re
from collections.abc import Sequence
from itertools import groupby
from typing import NamedTuple

import segno
from reportlab.graphics.barcode.code128 import Code128

#: The narrowest bar or square that common scanners read, in mm.
LEAST_SQUARE, LEAST_BAR = 0.33, 0.19
#: Label printers mostly have 8 dots a millimetre: a module of whole dots comes out sharp.
DOT = 0.125


class Block(NamedTuple):
    """A black rectangle, in modules from the top left of the symbol."""

    x: int
    y: int
    wide: int
    tall: int


class Symbol(NamedTuple):
    """``wide`` by ``tall`` modules without the ``quiet`` ones that stay white: around a QR Code, beside Code 128."""

    wide: int
    tall: int
    quiet: int
    blocks: Sequence[Block]


QR_QUIET = 4
#: How many modules a QR Code of level M has for so many characters of its alphanumeric mode (ISO/IEC 18004).
QR_WIDE = {20: 21, 38: 25, 61: 29, 90: 33}


def qr_wide(text: str) -> int:
    """Modules of :func:`qr_code` without its quiet ones: it takes long to make, and often its size is all one needs."""
    return next(wide for most, wide in QR_WIDE.items() if len(text) <= most)


def qr_code(text: str) -> Symbol:
    """ISO/IEC 18004; about a seventh of it may be soiled. Four modules stay white around it."""
    rows = segno.make_qr(text, error="m").matrix
    blocks = []
    for y, row in enumerate(rows):
        x = 0
        for dark, run in groupby(row):
            long = len(list(run))
            if dark:
                blocks.append(Block(x, y, long, 1))
            x += long
    return Symbol(len(rows), len(rows), QR_QUIET, blocks)


def code_128(text: str) -> Symbol:
    """ISO/IEC 15417, one module tall: it is drawn as tall as there is room. Ten modules stay white at each end."""
    symbol = Code128(text)
    symbol.validate()
    symbol.encode()
    blocks, x = [], 0
    for element in re.findall("[A-Da-d]", symbol.decompose()):  # a capital is a bar, a small letter a space
        wide = "abcd".index(element.lower()) + 1
        if element.isupper():
            blocks.append(Block(x, 0, wide, 1))
        x += wide
    return Symbol(x, 1, 10, blocks)


def module_of(room: float, modules: int, least: float, most: float) -> float | None:
    """How wide a module is, in mm, when so many of them have that much room; None when they get too narrow."""
    wide = min(room / modules, most)
    whole = int(wide / DOT) * DOT
    if whole >= least:
        return whole
    return wide if wide >= least else None
