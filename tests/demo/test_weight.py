"""A page weighs little: the tablet at the bench may hang on a weak line."""

from pytest_django.plugin import DjangoDbBlocker

from shop.people.models import Shop
from tests.benchmarks.pages import Pages, weight
from tests.browser.every_page import furnish
from tests.conftest import Urls, pointed_at

MOST = 150_000
#: A sheet of A4 full of labels is drawn as it is printed, every module of every symbol.
MORE = {"labels sheet": 200_000}


def test_no_page_with_its_styles_and_scripts_weighs_more(own_demo: Urls, django_db_blocker: DjangoDbBlocker) -> None:
    with pointed_at(own_demo), django_db_blocker.unblock():
        shop = Shop.objects.get(is_demo=True)
        furnish(shop)
        pages = Pages(shop)
        weights = {name: weight(pages.html(name, path)).whole for name, path in pages.addresses}
    assert len(weights) > 50
    assert {name: whole for name, whole in weights.items() if whole > MORE.get(name, MOST)} == {}
