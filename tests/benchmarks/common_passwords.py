"""How many passwords that are long enough our validator refuses, of those that one or two digits make of Django's list.

    python -m tests.benchmarks.common_passwords

Prints the length of each list, and how many of a sample of it are let through; the words of the list that hold no
letter get no digits, since a number with one more digit is another number.
"""

import os
import random

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
django.setup()

from django.contrib.auth.password_validation import CommonPasswordValidator  # noqa: E402
from django.core.exceptions import ValidationError  # noqa: E402

from shop.people.passwords import Guessable  # noqa: E402

SHORTEST, SAMPLE = 10, 3000


def passes(password: str) -> bool:
    try:
        Guessable().validate(password)
    except ValidationError:
        return False
    return True


def main() -> None:
    listed = CommonPasswordValidator().passwords
    lettered = [word for word in listed if any(map(str.isalpha, word))]
    found = {word for word in listed if len(word) >= SHORTEST}
    for digits in range(3):
        if digits:
            ends = [f"{number:0{digits}}" for number in range(10**digits)]
            found |= {word + end for word in lettered if len(word) + digits >= SHORTEST for end in ends}
        sample = random.Random(1).sample(sorted(found), min(SAMPLE, len(found)))
        through = sum(map(passes, sample))
        print(
            f"up to {digits} digits behind: {len(found)} of {SHORTEST} characters or more; {through} of {len(sample)}"
            " let through"
        )


if __name__ == "__main__":
    main()
