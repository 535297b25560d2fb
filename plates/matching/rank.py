"""What decides between two equally near exchanges: pieces first, then age, as one integer."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from plates.matching.steps import Step

Ints = NDArray[np.int64]

MOST_RANK = 1 << 60


@dataclass(frozen=True, slots=True)
class Scale:
    """Rank as one integer: pieces first, then age."""

    oldest: int
    weight: int

    @classmethod
    def of(cls, pieces: list[Ints], ages: list[Ints], changes: int) -> "Scale | None":
        """The scale for these plates, component by component; None where the sums would not fit."""
        every, old = np.concatenate(pieces), np.concatenate(ages)
        if not len(every):
            return cls(0, 1)
        oldest = int(old.min())
        weight = changes * (int(old.max()) - oldest) + 1
        return cls(oldest, weight) if changes * (int(np.abs(every).max()) + 1) * weight < MOST_RANK else None

    def values(self, pieces: Ints, age: Ints) -> Ints:
        return pieces * self.weight + (age - self.oldest)


def contenders(plates: list[Step], changes: int) -> list[Step]:
    """Of plates of one thickness only the best by (rank, key) can be in the best exchange."""
    seen: dict[tuple[object, ...], int] = {}
    kept = []
    numbered = sorted(enumerate(plates), key=lambda entry: (entry[1].rank, -entry[0]), reverse=True)
    for number, step in numbered:
        alike = step.shift, step.choices
        seen[alike] = seen.get(alike, 0) + 1
        if seen[alike] <= changes:
            kept.append((number, step))
    return [step for _, step in sorted(kept, key=lambda entry: entry[0])]
