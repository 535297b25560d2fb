"""What the README says is run as it stands there: a command that no longer does so fails here."""

import json
import re
import shlex
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.core.management import get_commands

from tests import servers
from tests.database.processes import ROOT, kill_all, wait_for
from tests.demo.running import Demo, demos, manage, server_processes, told

VARIABLE = re.compile(r"PLATES_[A-Z_]*[A-Z]")
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks() -> list[list[str]]:
    """Its commands, indented by four, block by block."""
    found = re.findall(r"(?m)(?:^    .*\n)+", README)
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


@pytest.mark.processes
@pytest.mark.skipif(shutil.which("curl") is None, reason="the example is written for curl")
def test_the_example_over_http_answers(data_dir: Path) -> None:
    demo = Demo(data_dir).opened()
    try:
        token = told(manage(data_dir, "token", "rosa"))[1].strip()
        example = "\n".join(block_with("curl -s")).replace("SPEC-CODE", "QUERN-DIRECT")
        example = example.replace("localhost:8000/", demo.url.removeprefix("http://"))
        environ = {"TOKEN": token, "PATH": "/usr/bin:/bin"}
        answered = subprocess.run(["bash", "-c", example], env=environ, capture_output=True, text=True, timeout=60)
        match = json.loads(answered.stdout)
        assert match["verdict"] == "high" and match["options"] and match["job"] == "J-1182"
        taken = demo.call(
            f"api/v1/matches/{match['id']}/take/",
            b'{"option": 1}',
            **{"Authorization": f"Token {token}", "Content-Type": "application/json"},
        )
        assert json.load(taken)["slip"]
    finally:
        demo.end(signal.SIGTERM)
