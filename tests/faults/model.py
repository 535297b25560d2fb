"""A shop in plain Python: what each plate and each match must be after an act, without a database.

Where the service may choose (which of two equal plates it offers, say) the model does not guess: it takes the plates
that the answer names, and refuses those that were not free.
"""

import math
from dataclasses import dataclass, field
from typing import Any

from plates.lengths import length_parse

#: code: from (included), to (excluded), in nanometres.
BINS = {
    "B-1": (length_parse("0.0740 in"), length_parse("0.0765 in")),
    "B-2": (length_parse("0.0765 in"), length_parse("0.0775 in")),
    "B-3": (length_parse("0.0775 in"), length_parse("0.0785 in")),
}
#: Far enough apart to be told apart, close enough to be mistaken, and one that no bin spans.
THICKNESSES = [
    length_parse(f"{text} in") for text in ("0.0762", "0.0766", "0.0768", "0.0770", "0.0772", "0.0778", "0.0790")
]
#: Two micrometer readings are of one plate within 2·√(u² + u²), u = 0.0002 in.
AGREE_NM = math.floor(2 * math.sqrt(2) * length_parse("0.0002 in"))

LYING = ("on_shelf", "held")


def bin_of(thickness_nm: int) -> str | None:
    return next((code for code, (low, high) in BINS.items() if low <= thickness_nm < high), None)


@dataclass
class Plate:
    """``holder``: the match that it is held or taken for; ``changes``: how often something has happened to it."""

    thickness_nm: int
    bin: str | None
    state: str = "on_shelf"
    holder: str | None = None
    changes: int = 0


@dataclass
class Match:
    """``slip``: what it holds or has taken; ``seen``: the changes of each plate when its options were shown."""

    state: str
    options: list[dict[str, Any]]
    outs: list[dict[str, Any]]
    slip: list[str] = field(default_factory=list)
    read: set[str] = field(default_factory=set)
    fated: bool = False
    seen: dict[str, int] = field(default_factory=dict)


class Shop:
    def __init__(self) -> None:
        self.plates: dict[str, Plate] = {}
        self.matches: dict[str, Match] = {}

    def having(self, *states: str) -> list[str]:
        """Plates in these states, oldest first."""
        return sorted(name for name, plate in self.plates.items() if plate.state in states)

    def lying_in(self, code: str) -> list[str]:
        return [name for name in self.having(*LYING) if self.plates[name].bin == code]

    def receive(self, name: str, thickness_nm: int) -> None:
        assert name not in self.plates, "one plate stands twice"
        self.plates[name] = Plate(thickness_nm, bin_of(thickness_nm))

    def move(self, name: str, state: str, holder: str | None = None) -> None:
        plate = self.plates[name]
        plate.state, plate.holder, plate.changes = state, holder, plate.changes + 1

    def lay(self, name: str, thickness_nm: int) -> None:
        """Onto the shelf, with this reading, into the bin that spans it."""
        self.move(name, "on_shelf")
        self.plates[name].thickness_nm, self.plates[name].bin = thickness_nm, bin_of(thickness_nm)

    def show(self, name: str, answer: dict[str, Any]) -> Match:
        """The match as this answer has it; its options may name what is free or its own, and nothing twice."""
        match = self.matches.setdefault(name, Match(answer["state"], [], []))
        match.options, match.outs = answer["options"], answer.get("outs", match.outs)
        match.seen = {}
        for option in match.options:
            goes_in = [row["plate"] for row in option["in"]]
            assert len(set(goes_in)) == len(goes_in), "one plate goes in twice"
            for one in goes_in:
                match.seen[one] = self.plates[one].changes
        return match

    def free_for(self, name: str, plate: str) -> bool:
        """Whether a match may have this plate now."""
        one = self.plates[plate]
        return one.state == "on_shelf" or (one.state == "held" and one.holder == name)

    def offers_free(self, name: str) -> None:
        """Asserts that what was offered just now is free."""
        for option in self.matches[name].options:
            for row in option["in"]:
                assert self.free_for(name, row["plate"]), f"{row['plate']} was offered and is not free"

    def unchanged(self, name: str, option: dict[str, Any]) -> bool:
        """Whether the plates of this option are as they were when it was shown, and free for the match."""
        seen = self.matches[name].seen
        return all(
            self.plates[row["plate"]].changes == seen[row["plate"]] and self.free_for(name, row["plate"])
            for row in option["in"]
        )

    def give(self, name: str, state: str, plates: list[str]) -> None:
        """The plates are held or taken for the match; what else it held is free."""
        match = self.matches[name]
        assert len(set(plates)) == len(plates), "one plate goes in twice"
        for plate in plates:
            assert self.free_for(name, plate), f"{plate} was given away twice"
        for plate in self.held_by(name):
            if plate not in plates:
                self.move(plate, "on_shelf")
        for plate in plates:
            self.move(plate, state, name)
        match.state, match.slip, match.read, match.fated = state, plates, set(), False
        match.seen |= {plate: self.plates[plate].changes for plate in plates}

    def held_by(self, name: str) -> list[str]:
        return [one for one in self.having("held") if self.plates[one].holder == name]

    def slip_left(self, name: str) -> list[str]:
        """Plates of the slip that are still taken for this match."""
        plates = self.plates
        return [p for p in self.matches[name].slip if plates[p].state == "taken" and plates[p].holder == name]

    def open_again(self, name: str) -> None:
        """What the match holds or has on its slip lies where it lay."""
        for plate in [*self.held_by(name), *self.slip_left(name)]:
            self.move(plate, "on_shelf")
        match = self.matches[name]
        match.state, match.slip = "open", []

    def may_have_left(self, name: str, named: str, reading_nm: int) -> set[str]:
        """Which plates this reading at the bin may be of: the nearest of those that agree."""
        match, bin_named = self.matches[name], self.plates[named].bin
        unread = [one for one in self.slip_left(name) if one not in match.read]
        alike = [one for one in [*self.having("on_shelf"), *unread] if self.plates[one].bin == bin_named]
        off = {one: abs(self.plates[one].thickness_nm - reading_nm) for one in {named, *alike}}
        near = min(off.values())
        if near > AGREE_NM:
            return set()
        return {named} if off[named] == near else {one for one, away in off.items() if away == near}
