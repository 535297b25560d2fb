"""What production makes of its environment. Each case in a process of its own: settings are read once."""

import json
import os
import subprocess
import sys

import pytest

from tests.database.processes import ROOT

SAID = "import json; from shop import settings; print(json.dumps(getattr(settings, {name!r}), default=str))"
PRODUCTION = {"PLATES_ENV": "production", "PLATES_HOSTS": "shop.example", "PLATES_SECRET_KEY": "k" * 50}


def told(name: str, **environ: str) -> subprocess.CompletedProcess[str]:
    """What a setting of production is."""
    others = {key: value for key, value in os.environ.items() if not key.startswith(("PLATES_", "DATABASE_"))}
    url = {"DATABASE_URL": "postgresql://app@db/plates?sslmode=verify-full"}
    return subprocess.run(
        [sys.executable, "-c", SAID.format(name=name)],
        cwd=ROOT, env={**others, **PRODUCTION, **url, **environ}, capture_output=True, text=True, timeout=60,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("name", "environ", "value"),
    [
        ("SECURE_HSTS_SECONDS", {}, 31_536_000),
        ("SECURE_HSTS_INCLUDE_SUBDOMAINS", {}, False),
        ("SECURE_HSTS_INCLUDE_SUBDOMAINS", {"PLATES_HSTS_SUBDOMAINS": "1"}, True),
        ("PROXIES", {}, ["127.0.0.1/32", "::1/128"]),
        ("PROXIES", {"PLATES_PROXY": "10.1.0.2, 10.2.0.0/24"}, ["10.1.0.2/32", "10.2.0.0/24"]),
        ("SESSION_COOKIE_NAME", {}, "__Host-session"),
        ("CSRF_COOKIE_NAME", {}, "__Host-csrf"),
        ("TERMINAL_COOKIE_NAME", {}, "__Host-terminal"),
    ],
)
def test_production(name: str, environ: dict[str, str], value: object) -> None:
    done = told(name, **environ)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout) == value


def test_a_proxy_that_is_no_address_is_refused_with_words() -> None:
    done = told("PROXIES", PLATES_PROXY="proxy.example")
    assert done.returncode and "PLATES_PROXY names addresses" in done.stderr
