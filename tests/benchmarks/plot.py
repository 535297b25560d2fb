"""A plot as SVG: a frame with its scales, and lines of points in it."""

from collections.abc import Sequence
from typing import NamedTuple

INK, PAPER, RULE = "#1c1c1c", "#fdfcf8", "#d8d4c8"


class Frame(NamedTuple):
    """In pixels; ``right``: room beside it, for names that run over."""

    width: int
    height: int
    left: int
    top: int
    right: int

    def across(self, share: float) -> float:
        """Where this share of the way from left to right lies."""
        return self.left + self.width * share

    def down(self, share: float) -> float:
        return self.top + self.height * share


class Curve(NamedTuple):
    """Its points in pixels, and where its name stands."""

    name: str
    colour: str
    points: Sequence[tuple[float, float]]
    name_at: tuple[float, float]


def drawing(
    frame: Frame,
    curves: Sequence[Curve],
    *,
    says: str,
    across: tuple[str, Sequence[tuple[float, str]]],
    down: tuple[str, Sequence[tuple[float, str]]],
) -> str:
    """``says`` is read out in its place; ``across`` and ``down``: what an axis is, where on it stands what."""
    width, height, left, top, right = frame
    parts = [f'<rect x="{left}" y="{top}" width="{width}" height="{height}" fill="none" stroke="{INK}"/>']
    for at, text in down[1]:
        parts.append(f'<line x1="{left}" y1="{at:.1f}" x2="{left + width}" y2="{at:.1f}" stroke="{RULE}"/>')
        parts.append(f'<text x="{left - 8}" y="{at + 5:.1f}" text-anchor="end">{text}</text>')
    for at, text in across[1]:
        parts.append(f'<text x="{at:.1f}" y="{top + height + 20}" text-anchor="middle">{text}</text>')
    for name, colour, points, (x, y) in curves:
        path = " ".join(f"{a:.1f},{b:.1f}" for a, b in points)
        parts.append(f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="2"/>')
        parts += [f'<circle cx="{a:.1f}" cy="{b:.1f}" r="4" fill="{colour}"/>' for a, b in points]
        parts.append(f'<text x="{x:.1f}" y="{y:.1f}" fill="{colour}">{name}</text>')
    parts.append(f'<text x="{left + width / 2}" y="{top + height + 45}" text-anchor="middle">{across[0]}</text>')
    middle = top + height / 2
    turned = f'text-anchor="middle" transform="rotate(-90 20 {middle})"'
    parts += [f'<text x="20" y="{middle}" {turned}>{down[0]}</text>'] if down[0] else []
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {left + width + right} {top + height + 60}" role="img" '
        f'font-family="sans-serif" font-size="14" fill="{INK}"><title>{says}</title>'
        f'<rect width="100%" height="100%" fill="{PAPER}"/>{"".join(parts)}</svg>\n'
    )
