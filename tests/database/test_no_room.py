"""What the database refuses for want of room is no fault of the request: it may be sent again."""

import pytest
from django.db import connection, transaction

from shop.errors import Refusal, refusals


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("sqlstate", "said"),
    [
        ("53100", "its disk, its memory or its connections are used up"),  # disk_full
        ("53300", "its disk, its memory or its connections are used up"),  # too_many_connections
        ("57P03", "does not answer just now"),  # cannot_connect_now
    ],
)
def test_it_is_told_and_may_be_sent_again(sqlstate: str, said: str) -> None:
    with pytest.raises(Refusal) as caught, refusals(), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(f"DO $$ BEGIN RAISE EXCEPTION 'out' USING ERRCODE = '{sqlstate}'; END $$")
    assert (caught.value.status, caught.value.code) == (503, "unavailable")
    assert said in caught.value.detail
