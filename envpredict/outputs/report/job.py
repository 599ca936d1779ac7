"""The first chapters: what was found, in one page, and what the report is for."""

from __future__ import annotations

import shapely

from envpredict.engine.results import LIKELIHOOD_MEANING, SEVERITY
from envpredict.engine.works.feasibility import decided
from envpredict.outputs.report.blocks import Block, Bullets, Cell, Chapter, Column, Facts, Table, Text
from envpredict.outputs.report.context import Context
from envpredict.outputs.report.wording import NOTHING, SYMBOLS, chance, mark_notes, marked
from envpredict.outputs.texts import clean
from envpredict.outputs.view import counts

CHANCE_NOTE = ("A chance is that of exceeding the named value at least once in the period, not a probability of "
               "damage, "
               "harm or complaint; meeting a value is no proof of their absence.")
SHORT_WORDS = {"cannot_judge": "can't judge", "not_applicable": "n/a"}
UNDERWATER = "Underwater noise not assessed: separate study needed."


def summary(shown: Context) -> Chapter:
    """Return the findings in one page, without a recommendation."""
    drafts = shown.assessment.drafts
    blocks: list[Block] = [_overview(shown),
                           Text(f"Numbers of receptors; days at the likely rates. {CHANCE_NOTE}", "note")]
    meanings = tuple(f"{SYMBOLS[word]} {LIKELIHOOD_MEANING[word]}" for word in reversed(SEVERITY))
    blocks += [Text("The likelihoods mean:"), Bullets(meanings)]
    if drafts:
        blocks += [Text(f"{len(drafts)} adopted limits are recalled from memory and unconfirmed; while one is, this "
                        "report is a draft. They are listed in the chapter on limits.", "missing")]
    if stands_in_water(shown):
        blocks.append(Text(UNDERWATER, "missing"))
    blocks.append(Text("The report ranks no method and recommends none: what cannot be judged is not known to be safe, "
                       "and a number that rests on an estimate needs a trial before anybody relies on it."))
    return Chapter("summary", "Summary", tuple(blocks))


def _overview(shown: Context) -> Table:
    feasible = reach(shown)
    bases: set[str] = set(shown.view.governing["basis"])
    rows = []
    for choice in shown.methods:
        worked = shown.assessment.programme[choice.id]["day"].nunique()
        known = shown.days_basis(choice.id)
        bases.add(known)
        first: list[Cell | str] = [Cell(clean(choice.title), bold=True), feasible.get(choice.id, NOTHING),
                                   marked(str(worked), known)]
        for effect in shown.view.effects:
            mine = shown.view.of(effect, choice.id)
            worst = mine.loc[mine["p_exceed"] == mine["p_exceed"].max()]
            top = NOTHING if worst.empty else marked(chance(float(worst["p_exceed"].iloc[0])),
                                                     str(worst["basis"].iloc[0]))
            found = [Cell(str(count), word if count else "") for word, count in counts(mine).items()]
            rows.append((*first, effect, *found, top))
            first = ["", "", ""]
    columns = (Column("Method", 38), Column("Reaches the toe", 21), Column("Days", 13, "right"), Column("Effect", 18),
               *(Column(f"{SYMBOLS[word]} {SHORT_WORDS.get(word, word)}", 14, "right") for word in reversed(SEVERITY)),
               Column("Highest chance", 18, "right"))
    return Table("Receptors by the finding that governs them, per method and effect", columns, tuple(rows),
                 mark_notes(bases))


def reach(shown: Context) -> dict[str, str]:
    """Return, per method, the verdict on whether it reaches the toe on its whole length of wall."""
    checks = shown.assessment.detail.get("feasibility")
    if checks is None or checks.empty:
        return {}
    decisive = decided(checks, ("method",))
    return {str(row["method"]): str(row["verdict"]).replace("_", " ") for row in decisive.to_dict("records")}


def stands_in_water(shown: Context) -> bool:
    """Return whether any pile stands where the scenario says that there is water."""
    constraints = shown.scenario.constraints
    if constraints is None:
        return False
    water = constraints[constraints["kind"] == "over_water"]
    if water.empty:
        return False
    area = shapely.union_all(water.geometry.to_numpy())
    return bool(shapely.intersects(area, shown.scenario.piles.geometry.to_numpy()).any())


def purpose(shown: Context) -> Chapter:
    """Return what the report is for, why the work is needed, and what is to be built."""
    need, basis = shown.submission("need"), shown.submission("legal_basis")
    blocks: list[Block] = [
        Text("This report predicts the ground vibration and the airborne noise that each candidate method of pile "
             "installation sends to every neighbour, judges them against the adopted limits, and says how sure the "
             "prediction is. It is made for the authority that decides on the works, for the people who carry them "
             "out, and for whoever audits them."),
        Facts((("Need for the works", need or "not stated"), ("Legal basis", basis or "not stated"),
               ("Applicant", shown.submission("applicant") or "not stated"),
               ("Authority", shown.submission("authority") or "not stated"))),
        _works(shown),
    ]
    if stands_in_water(shown):
        blocks.append(Text(f"At least one pile stands in water. {UNDERWATER}", "missing"))
    blocks.append(Text("Not covered: noise and vibration from traffic to the site, dust, ground movement other than as "
                       "flagged, the exposure of workers, which other law governs, and underwater noise.", "note"))
    return Chapter("purpose", "Purpose and job", tuple(blocks))


def _works(shown: Context) -> Table:
    piles = shown.scenario.piles
    types = shown.catalogue.pile_types
    rows = []
    for (section, pile_type), group in piles.groupby(["section", "pile_type"], sort=False):
        title = types[pile_type].title if pile_type in types else pile_type
        low, high = group["length_m"].min(), group["length_m"].max()
        length = f"{low:g}" if low == high else f"{low:g} to {high:g}"
        rows.append((clean(section), clean(title), str(len(group)), length))
    columns = (Column("Section", 30), Column("Pile type", 80), Column("Piles", 20, "right"),
               Column("Length, m", 30, "right"))
    return Table("The works", columns, tuple(rows))
