"""Rows of a table to what the API would take: the same bodies read both, so the same is refused in the same words."""

import re
from typing import Any

from rest_framework import serializers

from plates.tables.columns import CellRefused, Column, Sort, word
from plates.tables.decoding import Problem, Row, Table
from shop.api import Body
from shop.rest import pointers

_PLAIN = re.compile(r"[0-9]*[.,]?[0-9]+")


class Reader:
    """Reads the rows of one table; ``commas`` counts decimal commas that were read as points."""

    def __init__(self, table: Table, sort: Sort) -> None:
        self.table, self.sort = table, sort
        self.body: Body = sort.body()
        self.lot = sort.lot() if sort.lot else self.body
        self.columns = {name: sort.column(name) for name, _ in table.heads.values()}
        self.commas = 0

    def read(self, row: Row) -> tuple[dict[str, Any], list[Problem]]:
        """The validated body, and what is wrong with the row."""
        said: dict[str, Any] = {}
        problems = []
        heads = {}
        for head, (name, unit) in self.table.heads.items():
            column = self.columns[name]
            assert column is not None
            heads[column.at] = head
            cell = row.cells.get(head, "")
            try:
                if cell:
                    said[column.at] = self._value(column, unit, cell)
                elif column.needed:
                    raise CellRefused("Fill this in.")
            except CellRefused as error:
                problems.append(Problem(row.line, head, str(error)))
        if problems:
            return {}, problems
        body = self.body
        if said.get("count", 1) != 1:
            body, said["readings"] = self.lot, [[reading] for reading in said["readings"]]
        besides = {name: said.pop(name) for name in set(said) - set(body.fields)}
        try:
            return {**body.run_validation(said), **besides}, []
        except serializers.ValidationError as error:
            told = [(at.split("/")[1] if at else "", text) for at, text in pointers(error.detail)]
            return {}, [Problem(row.line, heads.get(at, ""), self._way_out(at, text)) for at, text in told]

    def _way_out(self, member: str, text: str) -> str:
        """What is wrong, and for a word out of a list which there are."""
        column = next((one for one in self.sort.columns if one.at == member), None)
        return f"{text} Write {column.means}." if column and column.read is word else text

    def _value(self, column: Column, unit: str, cell: str) -> Any:
        if not column.length:
            return column.read(self._point(cell) if column.figure else cell)
        value = column.read(cell)
        if isinstance(value, list):
            return [self._length(part, unit) for part in value]
        return self._length(value, unit)

    def _length(self, text: str, unit: str) -> str:
        text = self._point(text)
        if not unit:
            return text
        if not _PLAIN.fullmatch(text):
            raise CellRefused(f"{text[:40]!r} is no plain number; its column says that it is {unit}.")
        return f"{text} {unit}"

    def _point(self, text: str) -> str:
        """The figure with a decimal point; a comma is one only where it does not part the cells."""
        if "," not in text:
            return text
        if self.table.delimiter == "," or text.count(",") > 1 or "." in text:
            raise CellRefused(f"{text[:40]!r} holds a comma. Write a decimal point, and nothing between thousands.")
        self.commas += 1
        return text.replace(",", ".")


def twice(table: Table, sort: Sort) -> list[Problem]:
    """Codes that stand on two lines, each named with the line on which it stood first."""
    first: dict[str, int] = {}
    problems = []
    for row in table.rows:
        code = row.cells.get(sort.unique, "")
        if code and (before := first.setdefault(code, row.line)) != row.line:
            text = f"{code!r} stands on line {before} already. Keep one of them."
            problems.append(Problem(row.line, sort.unique, text))
    return problems
