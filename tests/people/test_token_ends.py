"""Tokens that were there before a token had an end."""

from datetime import timedelta

from django.core.management import call_command
from django.db import connection
from django.utils import timezone

from shop.people.models import Token
from tests.api import Api
from tests.conftest import Urls
from tests.factories import PersonFactory


def test_a_token_of_before_is_good_for_a_year_from_the_migration(fresh_db: Urls) -> None:
    api = Api(PersonFactory.create())
    call_command("migrate", "shop", "0005", verbosity=0)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE shop_token SET made_at = '2020-01-01'")
    call_command("migrate", verbosity=0)
    assert api.get("bins/").status == 200
    assert timedelta(days=364) < Token.objects.get().ends_at - timezone.now() <= timedelta(days=365)
