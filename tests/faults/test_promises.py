"""The promises of DEVELOPERS.md name tests and guards that are there; *Who gets in* names tests, and is counted."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SAID = (ROOT / "DEVELOPERS.md").read_text()
PROMISES = SAID.split("\n## Promises\n")[1].split("\n## ")[0]
WHO_GETS_IN = SAID.split("\n## Who gets in\n")[1].split("\nThese do not apply:\n")[0]
NAMED = re.findall(r"`([^`]+)`", PROMISES)
TESTS = sorted({name for name in NAMED if "::" in name})
GUARDS = sorted({name for name in NAMED if not name.startswith("tests/")})
SOURCE = "\n".join(path.read_text() for room in ("plates", "shop") for path in (ROOT / room).rglob("*.py"))


def test_each_promise_names_its_tests() -> None:
    promises = PROMISES.split("\n- **")[1:]
    assert len(promises) >= 6 and all("::" in promise for promise in promises)


@pytest.mark.parametrize("test", TESTS)
def test_a_named_test_is_there(test: str) -> None:
    path, _, name = test.partition("::")
    tree = ast.parse((ROOT / path).read_text())
    assert name in {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}


@pytest.mark.parametrize("guard", GUARDS)
def test_a_named_guard_is_there(guard: str) -> None:
    assert all(re.search(rf"\b{re.escape(word)}\b", SOURCE) for word in guard.split("."))


def test_items_of_who_gets_in_are_counted() -> None:
    rows = [line for line in WHO_GETS_IN.splitlines() if line.startswith("|")]
    items = {line: re.findall(r"\d+\.\d+\.\d+", line.split("|")[1]) for line in rows}
    every = [item for some in items.values() for item in some]
    opened = [item for line, some in items.items() if "**Open" in line for item in some]
    told = re.search(r"has (\d+) such items: (\d+) do not apply \(.*?\), (\d+)\s+are met, (\d+) are", WHO_GETS_IN)
    assert told and len(set(every)) == len(every)
    whole, without, met, left = map(int, told.groups())
    assert (met, left) == (len(every) - len(opened), len(opened))
    assert whole == without + met + left


def test_tests_that_who_gets_in_names_are_there() -> None:
    tests = "\n".join(f"{path.stem}\n{path.read_text()}" for path in (ROOT / "tests").rglob("test_*.py"))
    named = set(re.findall(r"test_\w+", WHO_GETS_IN))
    assert len(named) > 40 and {name for name in named if not re.search(rf"\b{name}\b", tests)} == set()
