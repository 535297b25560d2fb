"""What each figure of the bench and the shelf is, how it is reckoned, on whose word: told on demand beside it."""

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
        "subtraction; that a margin wide against u is asked for: JCGM 106:2012, 8, acceptance intervals and guard "
        "bands",
    ),
    "residual": Explained(
        "the residual",
        "By how much the assembled pack differs from its prediction. One alone says little; many of one sign say "
        "that a gauge or a hand reads off.",
        "residual = measured - predicted",
        "subtraction; what residuals in a row may say stands beside their charts",
    ),
    "charts": Explained(
        "the limits of the charts",
        "Between which figures chance alone keeps nearly all points. Beyond them something has changed: gauge, hand, "
        "or what was built.",
        "0 ± 3 sigma, with sigma = mean of the moving ranges / 1.128; the moving average m = 0.2 residual + 0.8 m of "
        "the one before, with narrower limits",
        "NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 and 6.3.2.4",
    ),
    "measured u": Explained(
        "what was measured here",
        "The standard uncertainty of one reading of a pack, by this shop's own final checks instead of by custom.",
        "u = √((s² of the residuals - mean of the u² of the plates) / 2)",
        f"{GUM}, 4.2 and 5.1.2",
    ),
    "cover": Explained(
        "the cover",
        "All readings of the pack, in this span, from which plates on the shelf today bring it into its window.",
        "sum of the lengths of the segments that have a number of changes",
        "every exchange of plates on the shelf is looked at; nothing is estimated",
    ),
    "gain": Explained(
        "what one more adds",
        "By how much the readings that the shelf closes grow with one more plate of this size, and nothing else.",
        "what the shelf closes with it - what it closes without it",
        "every exchange is looked at anew; nothing is estimated",
    ),
    "size": Explained(
        "a size",
        "One step in the row of thicknesses of one fit and role, centred on what is catalogued.",
        "centre - half a step ≤ thickness < centre + half a step; a step is 0.001 in, or 0.02 mm in a shop "
        "that works in mm",
        "our own rule, no source",
    ),
}
