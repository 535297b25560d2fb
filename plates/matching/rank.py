"""What decides between two equally near exchanges: pieces first, then age, as one integer."""

from dataclasses import dataclass

from plates.matching.steps import Step

MOST_RANK = 1 << 60


@dataclass(frozen=True, slots=True)
class Scale:
    """Rank as one integer: pieces first, then age."""

    oldest: int
    weight: int

    @classmethod
    def of(cls, plates: list[list[Step]], changes: int) -> "Scale | None":
        """The scale for these plates; None where the sums would not fit."""
        ages = [step.rank[1] for steps in plates for step in steps] or [0]
        weight = changes * (max(ages) - min(ages)) + 1
        pieces = max((abs(step.rank[0]) for steps in plates for step in steps), default=0)
        return cls(min(ages), weight) if changes * (pieces + 1) * weight < MOST_RANK else None

    def value(self, step: Step) -> int:
        return step.rank[0] * self.weight + step.rank[1] - self.oldest if step.row is not None else 0


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
