"""The README shows what the counter looks like; the command that takes its pictures has to find its way."""

import re
from pathlib import Path

import pytest
from django.utils import timezone
from PIL import Image
from playwright.sync_api import Browser

from shop.demo import demo_load, passwords_set
from tests.pictures import FOLDER, PASSWORD, SCENES, take

pytestmark = pytest.mark.browser
README = FOLDER.parents[1] / "README.md"
ONE, ALL = 150_000, 700_000


def test_every_picture_can_be_taken_and_is_small(browser: Browser, site: str, tmp_path: Path) -> None:
    passwords_set(demo_load(timezone.now()), PASSWORD)
    take(browser, site, tmp_path)
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
