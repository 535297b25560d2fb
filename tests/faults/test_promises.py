"""The promises of DEVELOPERS.md name tests and guards that are there."""

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PROMISES = (ROOT / "DEVELOPERS.md").read_text().split("\n## Promises\n")[1].split("\n## ")[0]
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
