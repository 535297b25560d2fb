"""Are the probabilities true? By hand: python -m tests.benchmarks.calibration

Packs are read with every error that the tool states and built as the kernel says (:mod:`tests.benchmarks.packs_read`).
One option of each pack, drawn at random, is built and its final gap looked at: of those called 90 to 100 % so many must
land in the window as was called, and so on down to 0 to 10 %, within the sampling error of so many packs. With
``--forget`` the kernel is kept from knowing a contribution: then it must be found out.
"""

import argparse
import math
import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
import django

django.setup()  # the bench room stands beside its tables; no database is asked

import numpy as np  # noqa: E402
from numpy.typing import NDArray  # noqa: E402

from plates.matching.search import match  # noqa: E402
from tests.benchmarks.packs_read import CONTRIBUTIONS, HABITS, USUAL, Built, Habits  # noqa: E402

PICTURE = Path(__file__).resolve().parents[2] / "fixtures" / "pictures" / "calibration.svg"
BINS, ALL = 10, "all"
#: A bin is off when it is farther from what was called than this many standard deviations: one in a thousand is, by
#: chance.
OFF = 3.3


@dataclass(frozen=True)
class Bin:
    """Options called from one tenth up to the next: how many, the mean called, and the share in the window."""

    name: str
    count: int
    called: float
    observed: float
    sampling: float

    @property
    def z(self) -> float:
        """Observed less called, in standard deviations of the observed share."""
        return (self.observed - self.called) / self.sampling if self.sampling else 0.0

    @property
    def off(self) -> bool:
        return abs(self.z) > OFF


def simulate(packs: int, seed: int, forget: Iterable[str] = (), habits: Habits = USUAL) -> list[tuple[float, bool]]:
    """(probability called, landed in the window) of one option of each pack that has any."""
    found = []
    for number in range(packs):
        built = Built(np.random.default_rng([seed, number]), frozenset(forget), habits)
        options = match(built.problem).options
        if options:
            option = options[int(built.draw.integers(len(options)))]
            found.append((option.probability, built.in_window(option)))
    return found


def _bin(name: str, called: NDArray[np.float64], landed: NDArray[np.bool_]) -> Bin:
    sampling = math.sqrt(float((called * (1 - called)).sum())) / len(called)
    return Bin(name, len(called), float(called.mean()), float(landed.mean()), sampling)


def binned(found: Sequence[tuple[float, bool]]) -> list[Bin]:
    """By tenths of the probability called, a bin with nothing in it left out; then all of them together.

    An option lies in the window, so what is missing from its u always makes its probability too large: *all* shows it.
    """
    called, landed = np.array([one for one, _ in found]), np.array([hit for _, hit in found])
    row_of = np.minimum((called * BINS).astype(int), BINS - 1)
    rows = [row for row in range(BINS) if (row_of == row).any()]
    tenths = [_bin(f"{10 * row} to {10 * row + 10}", called[row_of == row], landed[row_of == row]) for row in rows]
    return [*tenths, _bin(ALL, called, landed)]


def table(bins: Sequence[Bin]) -> str:
    lines = ["called, %      packs   mean called   in the window   ± sampling      z"]
    for one in bins:
        figures = f"{100 * one.called:11.2f} %  {100 * one.observed:12.2f} %  {100 * one.sampling:9.2f} %  {one.z:6.2f}"
        lines.append(f"{one.name:<11}  {one.count:7d}  {figures}{'  off' if one.off else ''}")
    return "\n".join(lines)


def drawing(bins: Sequence[Bin]) -> str:
    """Observed share against called probability, each with twice its sampling error, as SVG."""
    side, left, top = 400, 70, 30

    def x(share: float) -> str:
        return f"{left + side * share:.1f}"

    def y(share: float) -> str:
        return f"{top + side * (1 - share):.1f}"

    def line(x1: str, y1: str, x2: str, y2: str, more: str = "") -> str:
        return f'<line x1="{x1}" y1="{y1}" x2="{x2}" y2="{y2}"{more}/>'

    parts = [line(x(0), y(0), x(1), y(1), ' stroke-dasharray="6 4"')]
    for tenth in range(0, BINS + 1, 2):
        share = tenth / BINS
        parts += [
            line(x(share), y(0), x(share), y(-0.015)),
            line(x(0), y(share), x(-0.015), y(share)),
            f'<text x="{x(share)}" y="{y(-0.06)}" text-anchor="middle">{10 * tenth}</text>',
            f'<text x="{x(-0.03)}" y="{y(share - 0.012)}" text-anchor="end">{10 * tenth}</text>',
        ]
    for one in bins[:-1]:
        low, high = (min(max(one.observed + sign * 2 * one.sampling, 0.0), 1.0) for sign in (-1, 1))
        parts += [
            line(x(one.called), y(low), x(one.called), y(high), ' stroke-width="2"'),
            f'<circle cx="{x(one.called)}" cy="{y(one.observed)}" r="5" fill="#b3311f" stroke="#fff"/>',
        ]
    says = f"Called probability of landing in the window against the share that did, {bins[-1].count} simulated packs."
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side + 110} {side + 110}" role="img" '
        f'font-family="sans-serif" font-size="14" fill="#1c1c1c"><title>{says}</title>'
        f'<rect width="100%" height="100%" fill="#fdfcf8"/>'
        f'<g stroke="#1c1c1c"><rect x="{left}" y="{top}" width="{side}" height="{side}" fill="none"/></g>'
        f'<g stroke="#1c1c1c">{"".join(part for part in parts if not part.startswith("<text"))}</g>'
        f"{''.join(part for part in parts if part.startswith('<text'))}"
        f'<text x="{x(0.5)}" y="{y(-0.14)}" text-anchor="middle">called, %</text>'
        f'<text x="20" y="{y(0.5)}" text-anchor="middle" transform="rotate(-90 20 {y(0.5)})">in the window, %</text>'
        "</svg>\n"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--packs", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--forget", nargs="+", choices=CONTRIBUTIONS, default=[], help="what the kernel is not told")
    parser.add_argument("--picture", type=Path, help="where to draw it; the one of the documentation when all is told")
    parser.add_argument("--shop", choices=HABITS, help="a shop in which this contribution matters most")
    options = parser.parse_args()
    habits = HABITS[options.shop] if options.shop else USUAL
    bins = binned(simulate(options.packs, options.seed, options.forget, habits))
    print(f"{options.packs} packs, {bins[-1].count} with an option.")
    print(table(bins))
    off = [one for one in bins if one.off]
    print("Calibrated." if not off else f"Not calibrated: {len(off)} of {len(bins)} bins are off.")
    picture = options.picture or (None if options.forget or options.shop else PICTURE)
    if picture:
        picture.parent.mkdir(parents=True, exist_ok=True)
        picture.write_text(drawing(bins), encoding="utf-8")
        print(f"Drawn: {picture.name}")
    raise SystemExit(1 if off else 0)


if __name__ == "__main__":
    main()
