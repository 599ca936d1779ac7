"""Whether a method finds the room that it needs on site."""

from __future__ import annotations

from dataclasses import dataclass

from envpredict.core.citation import Citation
from envpredict.methods.fields import Code, Spread
from envpredict.methods.schema import Method, PileType

_ACCESS: dict[str, tuple[Code, str]] = {
    "yes": ("F", "stands there without temporary works"),
    "temporary_works": ("A", "needs a barge, platform or trestle"),
    "no": ("N", "can't stand there"),
}
FALL = Citation("trade practice beside running lines", None, "no part of rig or pile may fall onto the line",
                "practice")


@dataclass(frozen=True, slots=True)
class SiteFinding:
    """What one constraint of the site means for a method; `code` as for the ground."""

    constraint: str
    code: Code
    what: str
    citation: Citation


def _room(constraint: str, need: Spread, given_m: float, aid: str) -> SiteFinding:
    """Judge a length given against one needed: enough, enough only for the smallest plant, too little."""
    if given_m >= need.likely:
        return SiteFinding(constraint, "F", f"{given_m:g} m given, {need.likely:g} m needed", need.citation)
    if given_m >= need.low:
        return SiteFinding(constraint, "A", f"{given_m:g} m given, {need.low:g} to {need.high:g} m needed: {aid}",
                           need.citation)
    return SiteFinding(constraint, "N", f"{given_m:g} m given, at least {need.low:g} m needed", need.citation)


def _standing_m(method: Method, pile_length_m: float) -> float:
    """Return the length of pile that stands up under the rig: none where the pile is cast in its bore."""
    return 0.0 if method.cast_in_place else pile_length_m


def _headroom(method: Method, pile_length_m: float, headroom_m: float) -> SiteFinding | None:
    """Judge the headroom: for the pile in one piece, else spliced with low-headroom plant where there is such."""
    above = method.needs.headroom_above_pile_m
    if above is None:
        return None
    standing_m = _standing_m(method, pile_length_m)
    whole = Spread(low=above.low + standing_m, likely=above.likely + standing_m, high=above.high + standing_m,
                   citation=above.citation)
    finding = _room("headroom", whole, headroom_m, "the smallest plant only")
    least = method.needs.least_headroom_m
    if finding.code != "N" or least is None or headroom_m < least.low:
        return finding
    return SiteFinding("headroom", "A", f"{headroom_m:g} m given: low-headroom plant and spliced piles",
                       least.citation)


def _fall(method: Method, pile_length_m: float, running_line_m: float) -> SiteFinding:
    """Judge whether rig and pile could fall onto a running line: their height against the distance to it."""
    above = method.needs.headroom_above_pile_m
    height_m = _standing_m(method, pile_length_m) + (above.likely if above is not None else 0.0)
    if height_m <= running_line_m:
        return SiteFinding("running_line", "F", f"{height_m:g} m high, {running_line_m:g} m from the line", FALL)
    return SiteFinding("running_line", "A", f"{height_m:g} m high, {running_line_m:g} m from the line: closed line, "
                       "shorter lengths or restraint", FALL)


def site_findings(method: Method, *, pile_length_m: float, headroom_m: float | None = None,
                  width_m: float | None = None, clearance_m: float | None = None, over_water: bool = False,
                  on_slope: bool = False, running_line_m: float | None = None,
                  pile_type: PileType | None = None) -> tuple[SiteFinding, ...]:
    """Return what each constraint that is given means for a method; what the method's needs leave open isn't judged.

    headroom_m: free height above the rig's level; width_m: of the working strip; clearance_m: from the pile's axis to
    an existing face, judged against the larger need of method and pile (a pile made for it stands at the face itself);
    running_line_m: from the pile to the nearest running line. Raises ValueError unless the lengths are positive
    (clearance and distance to a line: not negative).
    """
    if not pile_length_m > 0 or any(value is not None and not value > 0 for value in (headroom_m, width_m)):
        raise ValueError("pile_length_m, headroom_m and width_m must be positive")
    if any(value is not None and value < 0 for value in (clearance_m, running_line_m)):
        raise ValueError("clearance_m and running_line_m must not be negative")
    needs = method.needs
    found: list[SiteFinding | None] = []
    if headroom_m is not None:
        found.append(_headroom(method, pile_length_m, headroom_m))
    if width_m is not None and needs.working_width_m is not None:
        found.append(_room("width", needs.working_width_m, width_m, "the smallest plant only"))
    if clearance_m is not None and needs.clearance_m is not None:
        need = needs.clearance_m
        if pile_type is not None and (pile_type.against_face or pile_type.clearance_m.likely > need.likely):
            need = pile_type.clearance_m
        found.append(_room("clearance", need, clearance_m, "measure on site"))
    for constraint, given in (("over_water", over_water), ("on_slope", on_slope)):
        if given and needs.access is not None:
            code, what = _ACCESS[getattr(needs.access, constraint)]
            found.append(SiteFinding(constraint, code, what, needs.access.citation))
    if running_line_m is not None:
        found.append(_fall(method, pile_length_m, running_line_m))
    return tuple(finding for finding in found if finding is not None)
