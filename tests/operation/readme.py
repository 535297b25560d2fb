"""The files that README has an operator write, as they stand there: a comment with the path, then the content."""

import re
from pathlib import Path

from tests.database.processes import ROOT

README = (ROOT / "README.md").read_text(encoding="utf-8")


def files() -> dict[str, str]:
    """Content by path."""
    found: dict[str, list[str]] = {}
    path = ""
    for line in README.splitlines():
        if begins := re.fullmatch(r"    # (/etc/\S+)", line):
            path = begins[1]
            found[path] = []
        elif path and (line.startswith("    ") or not line):
            found[path].append(line[4:])
        else:
            path = ""
    return {path: "\n".join(lines).strip() + "\n" for path, lines in found.items()}


def written(root: Path) -> None:
    """All of them, beneath this directory."""
    for path, content in files().items():
        place = root / path.lstrip("/")
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(content)
