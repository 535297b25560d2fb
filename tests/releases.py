"""What each release left behind: a backup of the demo shop, made by that release.

By hand, when a release is made: python -m tests.releases

It takes Debian's PostgreSQL, the oldest that we run on: an archive is read by the version that wrote it and by later
ones, never by an earlier one.
"""

import os
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
FOLDER = ROOT / "fixtures" / "releases"
#: With this all four of the demo's people sign in there.
PASSWORD = "a drum, four steels and a ring"


def releases() -> list[Path]:
    """The backups, the earliest release first."""
    return sorted(FOLDER.glob("*.backup"), key=lambda file: [int(part) for part in file.stem.split(".")])


def release_make() -> Path:
    """Write the backup of the version in pyproject.toml; one that is there already is left as it is."""
    import django
    from django.utils import timezone

    from tests import servers

    version = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["version"]
    file = FOLDER / f"{version}.backup"
    if file.exists():
        raise SystemExit(f"{file.name} is there already, and a release is made once. Set the next version first.")
    owner_url, app_url, stop = servers.start_debian()
    try:
        os.environ.update(DATABASE_URL=app_url, DATABASE_OWNER_URL=owner_url, DJANGO_SETTINGS_MODULE="shop.settings")
        django.setup()
        from django.core.management import call_command
        from django.db import connections

        from shop.backup import backup_make
        from shop.demo import demo_load, passwords_set

        call_command("migrate", verbosity=0)
        passwords_set(demo_load(timezone.now()), PASSWORD)
        FOLDER.mkdir(exist_ok=True)
        backup_make(file)
        file.chmod(0o644)  # nothing in it is secret
        connections.close_all()
    finally:
        stop()
    return file


if __name__ == "__main__":
    made = release_make()
    print(f"{made.relative_to(ROOT)}: {made.stat().st_size} bytes")
