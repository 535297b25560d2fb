"""What a plate read at the bin makes of the option that is built; lengths in nanometres. Nothing is saved here."""

from typing import Any

from plates.bench.budget import figures_refresh
from plates.bench.cautions import OF_BUILT, built_again
from plates.bench.models import Match, MatchState
from plates.bench.reading import Found, match_refresh


def rebuilt(match: Match, plate: str, row: dict[str, Any], shared_u_nm: float | None, sure: float) -> None:
    """The slip's row of ``plate`` becomes ``row``, and the prediction is made afresh from all rows.

    The row carries the thickness read, so nothing of its own is left in u but the micrometer; ``shared_u_nm`` is the
    error that every reading with its gauge shares (None: the gauge is not registered).
    """
    built = match.built
    assert built is not None
    place = next(number for number, one in enumerate(built["in"]) if one["plate"] == plate)
    thicker_nm = row["thickness_nm"] - built["in"][place]["thickness_nm"]
    moved_nm = -thicker_nm if match.spec.measures == "gap" else thicker_nm
    built["in"][place] = row
    built["predicted_nm"] += moved_nm
    built["up_to_nm"] += moved_nm
    if shared_u_nm is not None:
        built["shared_u_nm"][row["gauge"]] = shared_u_nm
    figures_refresh(
        built, measures=match.spec.measures, low_nm=match.low_nm, high_nm=match.high_nm, sure=sure
    )
    match.built, match.slip = built, built["in"]
    built_again(match)


def unbuilt(match: Match, found: Found) -> None:
    """The match is open again as it was asked, with fresh options."""
    match.state, match.option_taken, match.held_until = MatchState.OPEN, None, None
    match.built, match.slip = None, []
    match.taken_at, match.taken_by, match.taken_terminal = None, None, None
    match.cautions = [one for one in match.cautions if one["code"] not in OF_BUILT]
    match_refresh(match, found)
