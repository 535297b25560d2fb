"""What each figure of a match is, how it is reckoned, and on whose word: told on demand beside the figure."""

from typing import NamedTuple


class Explained(NamedTuple):
    """``name``: the figure as people call it; ``formula``: blank where nothing is reckoned."""

    name: str
    what: str
    formula: str
    source: str


GUM = "JCGM 100:2008"

EXPLAINED = {
    "window": Explained(
        "the window",
        "The least and the most that the assembled pack may measure. Target is what the search aims at: the middle "
        "unless the spec names another.",
        "rule of the trade: 0.010 in for each counted friction as target, 0.008 to 0.012 in for each as limits",
        "the manual that the spec names; without one the rule of the trade (common practice, no source)",
    ),
    "prediction": Explained(
        "the prediction",
        "What the pack will measure when these plates are exchanged. It is arithmetic: measure the assembled pack.",
        "clearance = reading + out - in; height of a stack = reading - out + in",
        "sum of lengths; nothing is estimated",
    ),
    "u": Explained(
        "the ±",
        "One standard uncertainty: about two in three packs land within it, where nothing else is wrong. It "
        "combines reading, method and each plate that is exchanged; the budget lists them.",
        "u = root of the sum of squares of all parts",
        f"{GUM}, 5.1.2; the u of each method and of a micrometer until final checks or a study say better: common "
        "practice, no source",
    ),
    "probability": Explained(
        "the probability",
        "How likely the assembled pack measures inside the window. At the shop's level or above the option is called "
        "sure, else marginal.",
        "Φ((high - predicted) / u) - Φ((low - predicted) / u), with Φ the normal distribution",
        "JCGM 106:2012, 7: conformance with a tolerance interval",
    ),
    "margin": Explained(
        "the margin",
        "How far inside the window the prediction lies, in thousandths of an inch.",
        "the lesser of predicted - low and high - predicted",
        "subtraction; that a margin wide against u is asked for: JCGM 106:2012, 8 (guard bands)",
    ),
    "residual": Explained(
        "the residual",
        "By how much the assembled pack differs from its prediction. One alone says little; many of one sign say "
        "that a gauge or a hand reads off.",
        "residual = measured - predicted",
        "subtraction; what residuals in a row may say stands beside their charts",
    ),
}
