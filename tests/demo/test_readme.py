"""What the README says is run as it stands there: a command that no longer does so fails here."""

import json
import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from typing import Any

import pytest
from django.core.management import get_commands

from plates.bench.explained import EXPLAINED
from tests import servers
from tests.database.processes import ROOT, kill_all, wait_for
from tests.demo.running import OTHERS, PATIENCE, Demo, demos, manage, server_processes, told

VARIABLE = re.compile(r"PLATES_[A-Z_]*[A-Z]")
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(text: str = README) -> list[list[str]]:
    """Its commands, indented by four, block by block."""
    found = re.findall(r"(?m)(?:^    .*\n)+", text)
    return [[line[4:] for line in block.splitlines()] for block in found]


def block_with(what: str) -> list[str]:
    return next(block for block in blocks() if any(what in line for line in block))


def test_every_command_is_there_and_every_one_of_ours_is_named() -> None:
    named = set(re.findall(r"manage\.py ([a-z_]+)", README))
    assert named <= get_commands().keys()
    ours = {name for name, app in get_commands().items() if app in ("shop", "plates")}
    assert ours <= named


def test_every_variable_is_read_and_every_one_of_ours_is_told() -> None:
    sources = [ROOT / "manage.py", *(ROOT / "shop").rglob("*.py"), *(ROOT / "plates").rglob("*.py")]
    read = {name for path in sources for name in VARIABLE.findall(path.read_text(encoding="utf-8"))}
    assert set(VARIABLE.findall(README)) - {"PLATES_TEST_SERVER"} == read, "that one is of the tests"


def test_the_day_is_told_as_the_page_tells_it() -> None:
    """Its words to mind, and step by step; the page marks them as HTML, the README as Markdown."""
    page = unescape((ROOT / "shop/templates/shop/how.html").read_text(encoding="utf-8"))
    for tag, mark in {"strong": "**", "b": "**", "i": "*", "code": "`"}.items():
        page = page.replace(f"<{tag}>", mark).replace(f"</{tag}>", mark)
    on_page = re.findall(r"<(?:p class=\"warning\"|li|h2[^>]*)>(.*)</(?:p|li|h2)>", page)
    day = README[README.index("## The day") : README.index("## Test it")]
    day = re.sub(r"(?m)^(### .*) \(`\w+`\)$", r"\1", day)
    here = re.findall(r"(?ms)^(?:\d\. |### |(?=\*\*Mind))(.*?)(?=\n\d\. |\n\n)", day)
    assert [" ".join(one.split()) for one in here] == on_page and len(on_page) > 30


def arithmetic() -> list[list[str]]:
    """Figure, formula and source of each row of *The arithmetic*."""
    part = README[README.index("### The arithmetic") : README.index("## Tables in and out")]
    lines = [line for line in part.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:]]


def test_every_figure_that_a_page_explains_stands_with_its_formula_and_source() -> None:
    rows = arithmetic()
    assert rows[: len(EXPLAINED)] == [[one.name, one.formula, one.source] for one in EXPLAINED.values()]
    assert all(len(row) == 3 and all(row) for row in rows)


@pytest.fixture
def data_dir() -> Iterator[Path]:
    ground = Path(tempfile.mkdtemp(prefix="plates-"))
    ground.chmod(0o711)
    directory = ground / "var"
    yield directory
    wait_for(lambda: kill_all(demos(directory) + server_processes(directory)))
    servers.forget(directory)
    shutil.rmtree(ground)


@pytest.mark.processes
def test_a_shop_starts_for_real(data_dir: Path) -> None:
    lines = [line for line in block_with("open_shop") if "manage.py" in line]
    assert [line.split()[2] for line in lines] == ["migrate", "open_shop", "token", "runserver"]
    said = []
    for line in lines[:-1]:
        _, words = line.split("manage.py ")
        code, out, complained = told(manage(data_dir, *shlex.split(words)))
        assert code == 0, f"{line}: {complained}"
        said.append(out)
    assert re.fullmatch(r"\S+\n", said[-1]), "the token stands alone on a line"
    code, out, _ = told(manage(data_dir, "week_sheet"))
    assert code == 0 and "To buy" in out
    assert told(manage(data_dir, "db", "stop"))[0] == 0


def shown_answers(lines: list[str]) -> list[Any]:
    """What stands beneath the calls; ``…`` is whatever comes there."""
    text = re.sub(r"…(?=[\]}])", '"…"', "\n".join(lines)).replace('"…"}', '"…": 0}')
    groups = re.findall(r"(?m)(?:^# .*\n?)+", text)
    return [json.loads(group.replace("# ", "")) for group in groups]


def agree(shown: Any, answered: Any) -> bool:
    """Member by member and piece by piece; where the shown one says ``…`` the other may have more, or anything."""
    if shown == "…":
        return True
    if isinstance(shown, dict) and isinstance(answered, dict):
        named = shown.keys() - {"…"}
        enough = named <= answered.keys() if "…" in shown else named == answered.keys()
        return enough and all(agree(shown[name], answered[name]) for name in named)
    if isinstance(shown, list) and isinstance(answered, list):
        more = len(shown) > 1 and shown[-1] == "…"
        pieces = shown[:-1] if more else shown
        enough = len(pieces) <= len(answered) if more else len(pieces) == len(answered)
        return enough and all(map(agree, pieces, answered))
    return bool(shown == answered)


@pytest.mark.parametrize(
    ("line", "answered", "fits"),
    [
        ('# {"a": 1, …}', {"a": 1, "b": 2}, True),
        ('# {"a": 1}', {"a": 1, "b": 2}, False),
        ('# {"a": "…", …}', {"a": None}, True),
        ('# {"a": 2, …}', {"a": 1}, False),
        ('# {"a": [{"b": 1, …}, …]}', {"a": [{"b": 1, "c": 1}, 3]}, True),
        ('# {"a": [1]}', {"a": [1, 2]}, False),
        ('# {"a": ["…"]}', {"a": ["x"]}, True),
    ],
)
def test_a_shortened_answer_says_no_more_than_it_shows(line: str, answered: Any, fits: bool) -> None:
    (shown,) = shown_answers([line])
    assert agree(shown, answered) is fits


@pytest.mark.processes
def test_the_story_over_http_is_answered_as_it_is_told(data_dir: Path) -> None:
    assert shutil.which("curl"), "the story is told with curl, which is not installed: apt-get install curl"
    story = README[README.index("## Over HTTP") : README.index("## Safety")]
    lines = [line for block in blocks(story) for line in block]
    demo = Demo(data_dir).opened()
    try:
        script = "\n".join(lines).replace("http://localhost:8000/", demo.url)
        script = script.replace(".venv/bin/python", shlex.quote(sys.executable))
        environ = {name: value for name, value in os.environ.items() if name not in OTHERS}
        ran = subprocess.run(
            ["sh", "-eu", "-c", script],
            cwd=ROOT,
            env={**environ, "PLATES_DATA_DIR": str(data_dir)},
            capture_output=True,
            text=True,
            timeout=PATIENCE,
        )
        assert ran.returncode == 0, ran.stderr + ran.stdout
    finally:
        demo.end(signal.SIGTERM)
    answers = [json.loads(line) for line in ran.stdout.splitlines()]
    assert answers.pop(3) == answers[2], "the same key is the same act"
    assert len(answers) == 11
    for told_there, answered in zip(shown_answers(lines), answers, strict=True):
        assert agree(told_there, answered), f"told: {told_there}"
