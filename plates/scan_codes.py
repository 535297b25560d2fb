"""What our own labels carry: bins, kinds, jobs, orders and transfers, told apart by one scan.

``scan_format("bin", "B-14")`` is ``"%BB-14IH"``; ``scan_parse`` of what a scanner sends gives ``("bin", "B-14")`` back,
or None where it is no label of ours: a maker's barcode, a typed code, half a scan. So a field asks ``scan_parse``
first, and takes None as a maker's barcode (``scanned`` drops what a scanner puts around it) or as something typed.

The badge of a person is none of them: its code is a secret with a form of its own (``shop.people.badges``).

The text is ``%``, a letter for the sort (``B`` bin, ``K`` kind, ``J`` job, ``O`` order, ``T`` transfer, whose code is
the key of its hand-out), the code, and two check characters. It is of digits, capitals and ``- . $ %``: the
alphanumeric mode of a QR Code (ISO/IEC 18004) takes them as they are. Within the code ``%`` turns from capitals to
small letters and back, and ``$`` is ``_``: since no letter's case tells anything, a scan with caps lock on is
understood as well. The check characters are those of ISO/IEC 7064, MOD 1271-36, over the whole text before them,
``- . $ %`` counting 36 to 39: every single wrong or swapped character is found, and what lost its end passes for a
label once in 1 271 times.

A code is of letters, digits, ``.``, ``_`` and ``-``, so that no typed code is a label. A maker's barcode that would
pass for one is refused where the scan codes of a kind are written.
"""

import re
from typing import NamedTuple

#: The sorts of things that have a label, and the letter of each.
SORTS = {"bin": "B", "kind": "K", "job": "J", "order": "O", "transfer": "T"}

_CODE = re.compile(r"[A-Za-z0-9._-]{1,40}")
_LETTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_VALUES = {character: value for value, character in enumerate(_LETTERS + "-.$%")}
_SENT = re.compile(r"%([BKJOT])([0-9A-Z.$%-]+)([0-9A-Z]{2})")
#: Symbology identifier of ISO/IEC 15424, which a scanner may be set to send first: ``]C0``, ``]Q1``.
_SYMBOLOGY = re.compile(r"\][A-Za-z][0-9A-Za-z]")


class ScanCode(NamedTuple):
    """What a label of ours names: the sort, one of :data:`SORTS`, and its code."""

    sort: str
    code: str


def scan_format(sort: str, code: str) -> str:
    """The text of a label: 5 to 84 characters for a code of 1 to 40. Raises ValueError for what has no label."""
    if sort not in SORTS or not _CODE.fullmatch(code):
        raise ValueError(f"{sort} {code!r} has no label: a code is 1 to 40 of letters, digits, '.', '_' and '-'.")
    text, small = f"%{SORTS[sort]}", False
    for character in code:
        if character.isalpha() and character.islower() != small:
            text, small = text + "%", not small
        text += "$" if character == "_" else character.upper()
    return text + checks(text)


def scan_parse(text: str) -> ScanCode | None:
    """What a scan names, if it is of one of our labels, else None.

    Taken off first: blanks at both ends and a symbology identifier. Letters may come in either case.
    """
    sent = _SENT.fullmatch(scanned(text).upper()) if text.isascii() else None
    if not sent:
        return None
    letter, body, _ = sent.groups()
    code, small = "", False
    for character in body:
        if character == "%":
            small = not small
        else:
            code += "_" if character == "$" else character.lower() if small else character
    found = ScanCode(next(sort for sort in SORTS if SORTS[sort] == letter), code)
    return found if _CODE.fullmatch(code) and scan_format(*found) == sent[0] else None


def scanned(text: str) -> str:
    """What a scanner read, without what it may send before and behind: a symbology identifier, blanks, line ends."""
    text = text.strip()
    found = _SYMBOLOGY.match(text)
    return text[found.end() :] if found else text


def checks(text: str) -> str:
    """The two check characters of ISO/IEC 7064, MOD 1271-36."""
    rest = 0
    for character in text:
        rest = (rest + _VALUES[character]) * 36 % 1271
    return "".join(_LETTERS[value] for value in divmod((1 - rest * 36) % 1271, 36))
