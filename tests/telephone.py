"""What a person holds who gives one-time codes: the app on the telephone, and the paper with the recovery codes."""

import time

from pyotp import TOTP

from shop.people.models import Person
from shop.people.one_time import code_turn_on, secret_make


class Telephone:
    """Codes of this person, who has turned them on a moment ago."""

    def __init__(self, person: Person) -> None:
        self.secret, now = secret_make(), time.time()
        first = TOTP(self.secret).at(now, counter_offset=-1)
        self.recovery = code_turn_on(person=person, secret=self.secret, code=first, at=now)
        person.refresh_from_db()

    def code(self, steps: int = 0) -> str:
        """What the app shows now, or so many steps later: one more is taken, too, for a clock may be off."""
        return TOTP(self.secret).at(time.time(), counter_offset=steps)

    def wrong(self, count: int = 1) -> list[str]:
        """Six digits each that are no code of these minutes."""
        near = {self.code(steps) for steps in range(-5, 6)}
        return [text for text in map("{:06}".format, range(count + len(near))) if text not in near][:count]
