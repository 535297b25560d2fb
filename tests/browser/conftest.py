"""A real Chromium against the service as it is served: gunicorn, a database of its own, loopback only."""

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Page, Request, sync_playwright

from tests.conftest import Urls
from tests.service import serving

NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@pytest.fixture(scope="session")
def chromium() -> str:
    """The installed browser. In CI its absence is a failure; elsewhere it is said plainly."""
    found = next((path for name in NAMES if (path := shutil.which(name))), None)
    if found is None:
        said = f"The browser tests need an installed Chromium or Chrome; none of {', '.join(NAMES)} is on the PATH."
        if os.environ.get("CI"):
            pytest.fail(said)
        pytest.skip(said)
    return found


@pytest.fixture(scope="session")
def browser(chromium: str) -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium, args=ARGS)
        yield browser
        browser.close()


@pytest.fixture
def site(fresh_db: Urls, tmp_path: Path) -> Iterator[str]:
    """The address of the service, with two workers, on the database of this test."""
    with serving(fresh_db, tmp_path / "data") as service:
        yield service.address


class Watch:
    """What a page must not do: complain, or ask for anything beyond this machine."""

    def __init__(self, page: Page) -> None:
        self.complaints: list[str] = []
        self.hosts: set[str] = set()
        page.on("console", self._console)
        page.on("pageerror", lambda error: self.complaints.append(str(error)))
        page.on("request", self._request)

    def _console(self, message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            self.complaints.append(message.text)

    def _request(self, request: Request) -> None:
        address = urlsplit(request.url)
        if address.scheme != "data":
            self.hosts.add(address.hostname or request.url)

    def check(self) -> None:
        """Raises when a page complained or a request left the loopback."""
        assert self.complaints == []
        assert self.hosts == {"127.0.0.1"}


@pytest.fixture
def page(browser: Browser, site: str) -> Iterator[Page]:
    context = browser.new_context(base_url=site)
    context.set_default_timeout(20_000)
    page = context.new_page()
    yield page
    context.close()


@pytest.fixture
def watch(page: Page) -> Watch:
    return Watch(page)


@pytest.fixture(autouse=True)
def fast_passwords() -> None:
    """Not here: the service in its own process knows only the hashers of its settings."""
