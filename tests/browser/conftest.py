"""A real Chromium against the service as it is served: gunicorn, a database of its own, loopback only."""

import os
import shutil
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from django.contrib.sessions.backends.db import SessionStore
from django.contrib.sessions.models import Session
from django.test import override_settings
from playwright.sync_api import Browser, ConsoleMessage, Page, Request, expect, sync_playwright
from pytest_django.plugin import DjangoDbBlocker

from shop.demo import passwords_set
from shop.people.models import Shop
from tests.browser.every_page import BY, every_page, furnish
from tests.conftest import Urls, drop, pointed_at
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
#: What never comes is waited for so long; what comes, on a busy machine late, is not waited for longer than it takes.
PATIENCE_MS = 20_000
expect.set_options(timeout=PATIENCE_MS)
PASSWORD, SECRET = "thin oil and clean rags", "a key that only these tests sign with"


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


@pytest.fixture(scope="session")
def one_service(
    server: Urls, clone: Callable[[str], Urls], tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[str, Path]]:
    """The address of the service, with two workers, and the file that names the database it is to work on."""
    files, first = tmp_path_factory.mktemp("site"), f"site_{os.getpid()}"
    named = files / "named"
    named.write_text(first)
    says = {"DATABASE_NAMED": str(named), "PLATES_SECRET_KEY": SECRET}
    with serving(clone(first), files / "data", "tests.browser.site:application", **says) as service:
        yield service.address, named
    drop(server, first)


@pytest.fixture
def site(one_service: tuple[str, Path], fresh_db: Urls) -> str:
    """The address of the service, on the database of this test."""
    address, named = one_service
    named.write_text(urlsplit(fresh_db.app).path.strip("/"))
    return address


def until(page: Page, what: Callable[[], object]) -> None:
    """Take in what the browser tells until this is true."""
    end = time.monotonic() + PATIENCE_MS / 1000
    while not what():
        assert time.monotonic() < end, "waited in vain"
        page.wait_for_timeout(20)


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
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    yield page
    context.close()


@pytest.fixture
def watch(page: Page) -> Watch:
    return Watch(page)


@pytest.fixture(autouse=True)
def fast_passwords() -> None:
    """Not here: the service in its own process knows only the hashers of its settings."""


@dataclass(frozen=True)
class WholeShop:
    """The demo shop, served with something to see on every page.

    ``pages``: name and path of each, see :func:`tests.browser.every_page.every_page`; ``sessions``: what a browser
    keeps in which the owner is signed in, or one of the bench; in which the page is locked; where nobody has come yet.
    """

    address: str
    pages: list[tuple[str, str]]
    sessions: dict[str, Any]

    def opened(self, browser: Browser, **look: Any) -> Iterator[tuple[str, str, Page]]:
        """Name, path and browser page of each, one after the other; ``look`` is what a new context takes."""
        ready: dict[str, Page] = {}
        for name, path in self.pages:
            who = BY.get(name, "owner")
            if who not in ready:
                context = browser.new_context(base_url=self.address, storage_state=self.sessions[who], **look)
                ready[who] = context.new_page()
            ready[who].goto(path)
            yield name, path, ready[who]
        for page in ready.values():
            page.context.close()


@pytest.fixture(scope="session")
def whole_shop(
    server: Urls,
    demo_clone: Callable[[str], Urls],
    django_db_blocker: DjangoDbBlocker,
    browser: Browser,
    tmp_path_factory: pytest.TempPathFactory,
) -> Iterator[WholeShop]:
    """Not to be changed: look, and send nothing."""
    name, data = f"whole_{os.getpid()}", tmp_path_factory.mktemp("whole")
    urls = demo_clone(name)
    with pointed_at(urls), django_db_blocker.unblock():
        shop = Shop.objects.get(is_demo=True)
        passwords_set(shop, PASSWORD)
        furnish(shop)
        pages = every_page(shop)
    with serving(urls, data, PLATES_SECRET_KEY=SECRET) as service:
        sessions = {"locked": _signed_in(browser, service.address, "tomas"), "nobody": None}
        with pointed_at(urls), django_db_blocker.unblock(), override_settings(SECRET_KEY=SECRET):
            row = SessionStore(Session.objects.get().session_key)
            row["seen"] -= 24 * 3600
            row.save()
        sessions["owner"] = _signed_in(browser, service.address, "tomas")
        sessions["bench"] = _signed_in(browser, service.address, "rosa")
        yield WholeShop(service.address, pages, sessions)
    drop(server, name)


def _signed_in(browser: Browser, address: str, name: str) -> Any:
    context = browser.new_context(base_url=address)
    page = context.new_page()
    page.goto("/")
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(f"{address}/")
    kept = context.storage_state()
    context.close()
    return kept
