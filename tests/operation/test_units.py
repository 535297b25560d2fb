"""README's units, as systemd reads them. It is not asked to run them: that takes a system of its own."""

import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.database.processes import ROOT
from tests.operation.readme import README, files, written

UNITS = ("plates-web.service", "plates-upgrade.service", "plates-backup.service", "plates-backup.timer")
SERVICES = [name for name in UNITS if name.endswith(".service")]
#: What systemd calls OK; 10.0 is a service that is kept from nothing.
MOST_EXPOSED = 2.0
#: Whoever knows these is the owner of the tables.
OWNERS = ("plates-upgrade.service", "plates-backup.service")

needs_systemd = pytest.mark.skipif(
    shutil.which("systemd-analyze") is None, reason="systemd-analyze is not installed: apt-get install systemd"
)


@pytest.fixture
def root(tmp_path: Path) -> Iterator[Path]:
    """A tree with README's files in it."""
    written(tmp_path)
    yield tmp_path


def analyze(*words: str, **environ: str) -> subprocess.CompletedProcess[str]:
    command = ["systemd-analyze", "--no-pager", *words]
    return subprocess.run(
        command, env={**os.environ, **environ}, stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=120
    )


def test_every_unit_stands_there() -> None:
    assert {Path(path).name for path in files() if "/systemd/" in path} == {*UNITS, "shut.conf"}


@needs_systemd
def test_systemd_understands_every_line(root: Path) -> None:
    """It complains of nothing but of programs that are not installed here."""
    units = root / "etc/systemd/system"
    done = analyze("verify", *UNITS, SYSTEMD_UNIT_PATH=f"{units}:")
    lines = [line for line in done.stderr.splitlines() if "plates" in line]
    absent = re.compile(r"plates-\w+\.service: Command /opt/plates/\.venv/bin/\w+ is not executable: .*")
    assert [line for line in lines if not absent.fullmatch(line)] == []
    assert len(lines) == 2, "the service and the upgrade; a backup begins with the system's own shell"


@needs_systemd
def test_a_misspelt_line_is_found(root: Path) -> None:
    unit = root / "etc/systemd/system/plates-.service.d/shut.conf"
    unit.write_text(unit.read_text().replace("ProtectHome", "ProtectHouse"))
    done = analyze("verify", UNITS[0], SYSTEMD_UNIT_PATH=f"{unit.parents[1]}:")
    assert "ProtectHouse" in done.stderr


@needs_systemd
@pytest.mark.parametrize("unit", SERVICES)
def test_a_service_is_kept_from_what_it_does_not_need(root: Path, unit: str) -> None:
    done = analyze("security", "--offline=true", f"--root={root}", unit)
    level = re.search(r"Overall exposure level for \S+ ([\d.]+)", done.stdout.replace("service:", "service"))
    assert level, done.stdout + done.stderr
    assert float(level[1]) <= MOST_EXPOSED


def test_only_who_needs_it_knows_the_owners_address() -> None:
    by_name = {Path(path).name: content for path, content in files().items()}
    assert [name for name in SERVICES if "owner.env" in by_name[name]] == list(OWNERS)
    assert "owner.env" not in by_name["shut.conf"] and "OWNER" not in by_name["service.env"]


def test_archive_and_image_hold_the_same_and_neither_history_nor_tests() -> None:
    (archive,) = re.findall(r"git archive HEAD (.*) \| tar", README)
    copied = [name for line in re.findall(r"(?m)^    COPY (.*)$", README) for name in line.split()[:-1]]
    assert sorted(archive.split()) == sorted(copied)
    assert all((ROOT / name).exists() for name in copied)
    assert {"tests", ".git", "fixtures", "."}.isdisjoint(copied)
