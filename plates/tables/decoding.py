"""Bytes to a table of cells: encoding, delimiter, line ends, quotes (RFC 4180), each told when it was a guess."""

import codecs
import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from plates.tables.cells import unguarded
from plates.tables.columns import UNITS, Sort
from shop.errors import Refusal
from shop.texts import line_refused

MOST_BYTES = 10 * 1_000_000
#: A spreadsheet has up to 16 384 columns, and may write the blank ones too. Millions would be looked up one by one.
MOST_HEADS = 20_000
DELIMITERS = {",": "comma", ";": "semicolon", "\t": "tab"}
SAVE_AS = "Save it as CSV in UTF-8 and send it again."


class TableRefused(Refusal):
    code, title = "bad_table", "This file cannot be read"


@dataclass(frozen=True)
class Problem:
    """What is wrong in one place of a file, and what to do. ``column`` is blank when the whole line is meant."""

    line: int
    column: str
    text: str


@dataclass(frozen=True)
class Row:
    """The cells of one row that are not blank, by the column as the header has it; the line on which it begins."""

    line: int
    cells: dict[str, str]


@dataclass
class Table:
    """``heads``: the column and the unit (blank: in each cell) of every head; ``notes``: how the file was read."""

    delimiter: str
    heads: dict[str, tuple[str, str]]
    rows: list[Row] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def decoded(content: bytes) -> tuple[str, str]:
    """The text, and how it was read. Raises :class:`TableRefused`."""
    for mark, encoding, name in (
        (codecs.BOM_UTF8, "utf-8-sig", "UTF-8"),
        (codecs.BOM_UTF16_LE, "utf-16", "UTF-16"),
        (codecs.BOM_UTF16_BE, "utf-16", "UTF-16"),
    ):
        if content.startswith(mark):
            try:
                return content.decode(encoding), f"Read as {name}."
            except UnicodeDecodeError:
                raise TableRefused(f"The file says that it is {name} and is not. {SAVE_AS}") from None
    try:
        return content.decode("utf-8"), "Read as UTF-8."
    except UnicodeDecodeError:
        pass
    try:
        text = content.decode("cp1252")
    except UnicodeDecodeError:
        raise TableRefused(f"The file is neither UTF-8 nor Windows-1252. {SAVE_AS}") from None
    return text, "Read as Windows-1252, a guess: it is no UTF-8. Look whether é and ü came right."


def _records(text: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """Each record with the line on which it begins; blank lines left out. Raises :class:`TableRefused`."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    while True:
        line = reader.line_num + 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            why = str(error)
            if "end of data" in why:
                why = "a quote is opened and not closed"
            elif "field limit" in why:
                why = f"a cell is longer than {csv.field_size_limit()} characters"
            raise TableRefused(
                f"Line {line}: {why}. Write a quote inside a quoted cell twice, and close every quote that you open."
            ) from None
        if any(cell.strip() for cell in cells):
            yield line, cells


def _meant(head: str, sort: Sort) -> tuple[str, str] | None:
    """The column that a head names, and the unit of its cells where the head says one."""
    column = sort.column(head)
    if column:
        return head, ""
    name, _, unit = head.rpartition("_")
    column = sort.column(name)
    return (name, unit) if column and column.length and unit in UNITS else None


def _heads(cells: list[str], sort: Sort) -> list[str]:
    return [unguarded(cell).strip().lower().replace(" ", "_") for cell in cells]


def table_of(content: bytes, sort: Sort) -> Table:
    """The rows of a file. Raises :class:`TableRefused` when it cannot be read at all; what is wrong with single rows
    stands in its problems.
    """
    if len(content) > MOST_BYTES:
        raise TableRefused(f"The file is larger than {MOST_BYTES // 1_000_000} MB. Send it in parts.")
    text, how = decoded(content)
    if "\0" in text:
        line = len(re.findall("\r\n|\r|\n", text[: text.index("\0")])) + 1
        raise TableRefused(f"Line {line} holds a NUL character: this is no CSV file, or it is cut. {SAVE_AS}")
    delimiter = max(DELIMITERS, key=lambda one: _known(text, one, sort))
    records = _records(text, delimiter)
    line, first = next(records, (0, []))
    if not first:
        raise TableRefused("The file is empty. Its first line names the columns.")
    if len(first) > MOST_HEADS:
        raise TableRefused(
            f"Line {line} has {len(first)} cells, and a table of {sort.name} {len(sort.columns)} columns at most. Keep "
            "those, and save it again."
        )
    heads = _heads(first, sort)
    table = Table(delimiter, _checked(heads, line, sort), notes=[how, f"Cells parted by {DELIMITERS[delimiter]}."])
    for line, cells in records:
        if len(table.rows) + len(table.problems) >= sort.most:
            raise TableRefused(f"The file holds more than {sort.most} rows. Send it in parts.")
        if problem := _problem(line, cells, heads):
            table.problems.append(problem)
            continue
        said = ((head, unguarded(cell).strip()) for head, cell in zip(heads, cells, strict=False))
        table.rows.append(Row(line, {head: cell for head, cell in said if cell}))
    if not table.rows and not table.problems:
        raise TableRefused("The file names its columns and has no rows below them.")
    return table


def _known(text: str, delimiter: str, sort: Sort) -> int:
    """How many columns the header names when it is parted so."""
    try:
        _, first = next(_records(text.lstrip("\r\n"), delimiter), (0, []))
    except TableRefused:
        return 0
    return sum(_meant(head, sort) is not None for head in _heads(first[:MOST_HEADS], sort))


def _checked(heads: list[str], line: int, sort: Sort) -> dict[str, tuple[str, str]]:
    known = ", ".join(one.name for one in sort.columns)
    meant = {head: _meant(head, sort) for head in heads if head}
    if unknown := [head for head, found in meant.items() if found is None]:
        raise TableRefused(
            f"Line {line}: there is no column {', '.join(repr(head[:40]) for head in unknown[:5])} in a table of "
            f"{sort.name}. Known are {known}; a length may say its unit, as {_with_unit(sort)}."
        )
    found = {head: one for head, one in meant.items() if one}
    names = [found[head][0] for head in heads if head]
    if twice := [name for name in dict.fromkeys(names) if names.count(name) > 1]:
        raise TableRefused(f"Line {line}: the column {twice[0]!r} stands twice. Keep one of them.")
    if missing := [one.name for one in sort.columns if one.needed and one.name not in names]:
        raise TableRefused(f"Line {line}: the column {missing[0]!r} is missing. Needed are {_needed(sort)}.")
    return found


def _with_unit(sort: Sort) -> str:
    name = next(one.name for one in sort.columns if one.length)
    return " or ".join(f"{name}_{unit}" for unit in UNITS)


def _needed(sort: Sort) -> str:
    return ", ".join(one.name for one in sort.columns if one.needed)


def _problem(line: int, cells: list[str], heads: list[str]) -> Problem | None:
    for head, cell in zip(heads, cells, strict=False):
        if why := line_refused(unguarded(cell)):
            return Problem(line, head, why)
        if not head and cell.strip():
            return Problem(line, "", f"{cell.strip()[:40]!r} stands below no name. Name its column, or clear it.")
    if any(cell.strip() for cell in cells[len(heads) :]):
        return Problem(line, "", f"It has {len(cells)} cells and the header {len(heads)}. Quote a cell with a comma.")
    return None
