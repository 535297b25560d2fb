"""Which passwords anybody would try: the common ones in their usual dress, and the words of the house."""

import gzip
import re
from bisect import bisect_left
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

from django.contrib.auth import password_validation
from django.core.exceptions import ValidationError

#: Django's list, the commonest first.
_LIST = Path(password_validation.__file__).with_name("common-passwords.txt.gz")
#: What a word of it costs: so many are common enough that two of them are no better than one of the others.
_COMMONEST, _PRICE_COMMONEST, _PRICE = 1000, 1, 2
#: A password that costs no more than this is refused.
_DEAREST_REFUSED = 2
#: What else a sign is read as.
_ALIKE = {"0": "o", "1": "il", "3": "e", "4": "a", "5": "s", "7": "t", "8": "b", "@": "a", "$": "s", "!": "i", "|": "l"}
#: Of the trade and of this program; each also with an s behind it.
_HOUSE = """
    automatic bench bin brake clutch clutchpack counter drum facing feeler fit friction gauge gearbox hub lining
    mechanic micrometer owner pack piston plate rebuild ring selective shelf shim shop slip snap spline steel teeth
    transmission wave workshop
"""
_FEWEST_LETTERS = 3

_WAY_OUT = "Take four words that have nothing to do with each other, or let a password manager make one."
COMMON = f"Anybody would try this one: it is a common password, or common ones with digits or marks added. {_WAY_OUT}"
HOUSE = f"Anybody here would try this one: it is made of the names and words of this shop and its trade. {_WAY_OUT}"


@cache
def _listed() -> tuple[list[str], list[int]]:
    """The words of Django's list in the order of the alphabet, and the price of each."""
    with gzip.open(_LIST, "rt", encoding="utf-8") as lines:
        words = [re.sub(r"[\W_]", "", line.casefold()) for line in lines]
    prices = dict.fromkeys(words, _PRICE) | dict.fromkeys(words[:_COMMONEST], _PRICE_COMMONEST)
    kept = sorted(word for word in prices if len(word) >= _FEWEST_LETTERS)
    return kept, [prices[word] for word in kept]


def house_words(person: Any = None) -> set[str]:
    """Of the shop's name, the person's and the trade."""
    named = f"{person.shop.name} {person.username}" if person else ""
    words = [*_HOUSE.split(), *(f"{word}s" for word in _HOUSE.split()), *re.split(r"[\W\d_]+", named.casefold())]
    return {word for word in words if len(word) >= _FEWEST_LETTERS}


def _words_from(text: str, start: int, house: set[str], begun: set[str]) -> Iterator[tuple[int, int]]:
    """Where each word that is read from ``start`` on ends, and its price. ``begun``: how those of the house begin."""
    words, prices = _listed()
    stems = {""}
    for end, sign in enumerate(text[start:], start + 1):
        read = [sign if sign.isalnum() else "", *_ALIKE.get(sign, "")]
        stems = {stem + one for stem in stems for one in read}
        for stem in [*stems]:
            at = bisect_left(words, stem)
            if stem in house:
                yield end, 0
            elif words[at : at + 1] == [stem]:
                yield end, prices[at]
            if stem not in begun and not (at < len(words) and words[at].startswith(stem)):
                stems.remove(stem)


def price_of(password: str, house: set[str]) -> int | None:
    """The least price of the words that a password is made of, those of the house for nothing; None where it is made of
    anything else. A digit or a mark beside a word adds nothing, and may stand for the letter that it looks like.
    """
    text = password.casefold()
    begun = {word[:length] for word in house for length in range(len(word))}
    adds_nothing = str.isalpha if any(map(str.isalpha, text)) else str.isalnum
    least = {0: 0}
    for start, sign in enumerate(text):
        if start not in least:
            continue
        ends = [*_words_from(text, start, house, begun), *([] if adds_nothing(sign) else [(start + 1, 0)])]
        for end, price in ends:
            least[end] = min(least.get(end, least[start] + price), least[start] + price)
    return least.get(len(text)) if any(map(str.isalnum, text)) else None


class Guessable:
    """A validator for Django: refuses what anybody would try."""

    def validate(self, password: str, user: Any = None) -> None:
        """Raises ValidationError. ``user``: whose it is to be, for the words of the house."""
        twice = password + password
        once = password[: twice.find(password, 1)]  # where it is the same written twice or more
        house = house_words(user)
        prices = [price for text in {password, once} if (price := price_of(text, house)) is not None]
        if 0 in prices:
            raise ValidationError(HOUSE, code="password_of_the_house")
        if len(once) < _FEWEST_LETTERS or min(prices, default=_DEAREST_REFUSED + 1) <= _DEAREST_REFUSED:
            raise ValidationError(COMMON, code="password_too_common")

    def get_help_text(self) -> str:
        return f"No common password, and none of the words of this shop. {_WAY_OUT}"
