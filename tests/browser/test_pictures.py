"""The README shows what the counter looks like; the command that takes its pictures has to find its way."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Browser
from pytest_django.plugin import DjangoDbBlocker

from shop.demo import passwords_set
from shop.people.models import Shop
from tests.conftest import Urls, drop, pointed_at
from tests.pictures import FOLDER, PASSWORD, SCENES, take
from tests.service import serving

pytestmark = pytest.mark.browser
README = FOLDER.parents[1] / "README.md"
ONE, ALL = 150_000, 700_000


@pytest.fixture
def demo_site(
    server: Urls, demo_clone: Callable[[str], Urls], django_db_blocker: DjangoDbBlocker, tmp_path: Path
) -> Iterator[str]:
    """The address of a demo shop of the test's own."""
    urls = demo_clone("pictures")
    with pointed_at(urls), django_db_blocker.unblock():
        passwords_set(Shop.objects.get(is_demo=True), PASSWORD)
    with serving(urls, tmp_path / "data") as service:
        yield service.address
    drop(server, "pictures")


def test_every_picture_can_be_taken_and_is_small(browser: Browser, demo_site: str, tmp_path: Path) -> None:
    take(browser, demo_site, tmp_path)
    taken = {file.stem: file for file in tmp_path.glob("*.png")}
    assert taken.keys() == SCENES.keys()
    for name, file in taken.items():
        size = SCENES[name].size
        with Image.open(file) as picture:
            assert picture.size == (size["width"], size["height"])
    assert all(file.stat().st_size < ONE for file in taken.values())
    assert sum(file.stat().st_size for file in taken.values()) < ALL


def test_the_readme_shows_each_of_them_and_says_what_is_on_it() -> None:
    shown = re.findall(r"!\[([^]]*)\]\(fixtures/pictures/([^)]+)\.png\)", README.read_text(encoding="utf-8"))
    assert sorted(name for _, name in shown) == sorted(SCENES) == sorted(file.stem for file in FOLDER.glob("*.png"))
    assert all(len(alt.split()) >= 5 for alt, _ in shown)
    assert sum(file.stat().st_size for file in FOLDER.glob("*.png")) < ALL
