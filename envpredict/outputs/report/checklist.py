"""The chapter that goes through what a submission has to hold, and says item by item what this one lacks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from envpredict.outputs.drafted import drafted
from envpredict.outputs.report.blocks import Cell, Chapter, Column, Table, Text
from envpredict.outputs.report.context import Context

GIVEN, PARTLY, MISSING = "given", "partly", "missing"


@dataclass(frozen=True, slots=True)
class Item:
    """One thing that a submission holds: where it stands here, and what is missing of it."""

    title: str
    where: str
    missing: tuple[str, ...] = ()
    nothing: bool = False

    @property
    def state(self) -> str:
        """Return given, partly or missing."""
        if not self.missing:
            return GIVEN
        return MISSING if self.nothing else PARTLY


def checklist(shown: Context) -> Chapter:
    """Return the list with the state of every item."""
    found = items(shown)
    rows = tuple((str(number), item.title, Cell(item.state, bold=item.state != GIVEN), item.where,
                  "; ".join(item.missing) or "–") for number, item in enumerate(found, 1))
    columns = (Column("No.", 9, "right"), Column("Content", 46), Column("State", 17), Column("Where", 42),
               Column("What is missing", 56))
    lacking = sum(item.state != GIVEN for item in found)
    return Chapter("checklist", "Submission checklist: what is missing", (
        Text(f"{lacking} of {len(found)} items aren't complete. The authority's own list decides; an application that "
             "misses an item can be refused.", "missing" if lacking else "plain"),
        Table("What a submission holds", columns, rows)))


def items(shown: Context) -> tuple[Item, ...]:
    """Return every item of the list as this run meets it."""
    return tuple(make(shown) for make in _ITEMS)


def _stated(shown: Context, keys: dict[str, str]) -> tuple[str, ...]:
    """Return what of the submission's keys isn't stated, in words."""
    return tuple(words for key, words in keys.items() if not shown.submission(key))


def _people(shown: Context) -> Item:
    keys = {"applicant": "applicant", "site_manager": "site manager", "contact_24h": "telephone at all hours"}
    lacking = _stated(shown, keys)
    return Item("Applicant, site manager, contact at all hours", "Cover; Monitoring proposal", lacking,
                len(lacking) == len(keys))


def _law(shown: Context) -> Item:
    lacking = _stated(shown, {"legal_basis": "legal basis", "authority": "the authority"})
    own = () if shown.scenario.own.limits else ("the local authority's own limits, or that it adopts these",)
    return Item("Legal basis, standards and editions, limit sets", "Purpose and job; Limits adopted", (*lacking, *own))


def _plan(shown: Context) -> Item:
    scenario = shown.scenario
    lacking = [] if scenario.boundary is not None else ["the site boundary"]
    lacking += ["the haul road: add it from the traffic plan"]
    if drafted(shown.assessment) is None:
        lacking.append("measuring positions: add them from the monitoring plan")
    return Item("Site plan to scale: boundary, piles, receptors, positions, screens, north, datum", "Maps and charts",
                tuple(lacking))


def _sections(shown: Context) -> Item:
    obstacles = shown.scenario.obstacles
    screens = 0 if obstacles is None else int((obstacles.geometry.geom_type.str.contains("Line")).sum())
    adopted = [shown.catalogue.reductions[entry.id] for entry in shown.scenario.reductions]
    wanted = screens + sum(reduction.setting == "screen" for reduction in adopted)
    if not wanted:
        return Item("Sections where screening is claimed", "no screen is claimed")
    return Item("Sections where screening is claimed", "Maps and charts (plan only)",
                (f"scaled sections through {wanted} screen{'s' if wanted > 1 else ''}",), nothing=True)


def _programme(shown: Context) -> Item:
    lacking = _stated(shown, {"hours_exceptions": "exceptions to the hours, start-up and run-down (or that there are "
                                                  "none)"})
    return Item("Programme by day and activity, hours, exceptions", "Programme and hours; workbook, sheet Programme",
                lacking)


def _options(shown: Context) -> Item:
    lacking = [] if shown.scenario.submission.get("options_rejected") else ["options rejected, and why quieter ones "
                                                                            "fail"]
    if len(shown.methods) > 1:
        lacking.append(f"which of the {len(shown.methods)} candidates is applied for, and why")
    lacking += _stated(shown, {"need": "why the work is needed"})
    return Item("Options considered, reason for the chosen one, why quieter ones fail", "Methods and feasibility",
                tuple(lacking))


def _plant(shown: Context) -> Item:
    generic = "" if any("plant" in choice.stated for choice in shown.methods) else (
        "machines by size and measured sound power: the levels here are generic")
    return Item("Plant: number, size or energy, sound power, source, on-time, height", "How the levels are predicted",
                (generic,) if generic else ())


def _receptors(shown: Context) -> Item:
    receptors = shown.assessment.receptors
    unknown = int((receptors["condition"].astype(str) == "unknown").sum())
    hours = int(receptors["occupied_hours"].isna().sum())
    lacking = [f"condition of {unknown} receptors"] if unknown else []
    lacking += [f"occupied hours of {hours} receptors (taken as always)"] if hours else []
    return Item("Receptors: use, floors, coordinates, sensitivity, occupied hours", "Site and receptors",
                tuple(lacking))


def _baseline(shown: Context) -> Item:
    table = shown.scenario.baseline
    title = "Baseline: dates, positions, instrument, weather, LAeq and LA90 by period"
    if table is None or table.empty:
        return Item(title, "Baseline", ("a baseline survey",), nothing=True)
    without = len(set(shown.assessment.receptors["id"].astype(str)) - set(table["receptor"].astype(str)))
    lacking = [f"levels at {without} receptors"] if without else []
    lacking += [f"{name} of some rows" for name in ("dates", "position", "instrument", "weather")
                if name not in table or table[name].isna().any()]
    return Item(title, "Baseline", (*lacking, "a plan of the measuring positions"))


def _method(shown: Context) -> Item:
    return Item("Method of prediction: ground, barriers, reflections, air, tones and impulses",
                "How the levels are predicted; appendix A", ("tones: to be judged on site",))


def _results(shown: Context) -> Item:
    judged = shown.view.of("noise")
    cannot = int((judged["likelihood"] == "cannot_judge").sum())
    lacking = (f"a verdict in {cannot} cases of receptor and method that can't be judged",) if cannot else ()
    return Item("Noise by receptor, block and phase: level, threshold, margin, uncertainty, days above",
                "Results by receptor and method; appendices C and D; workbook", lacking, nothing=judged.empty)


def _vibration(shown: Context) -> Item:
    effects = [effect for effect in shown.view.effects if effect != "noise"]
    wanted = [f"limits for {what}" for effect, what in (("damage", "damage to structures"), ("people", "people"))
              if effect not in effects]
    return Item("Vibration by receptor: PPV, criterion, frequency, method",
                "Results by receptor and method; appendices C and D; workbook", tuple(wanted), nothing=not effects)


def _cumulative(shown: Context) -> Item:
    stated = shown.submission("other_sites")
    given = shown.scenario.other_sources is not None
    lacking = () if stated or given else ("other sites and consents near by (or that there are none)",)
    where = stated or ("the scenario's other sources" if given else "–")
    return Item("Cumulative: other sites and consents near by", where, lacking, nothing=bool(lacking))


def _mitigation(shown: Context) -> Item:
    if not shown.scenario.reductions:
        return Item("Mitigation with its expected effect and who checks it", "Reductions",
                    ("measures adopted, or why none is needed", "who checks them"))
    return Item("Mitigation with its expected effect and who checks it", "Reductions", ("who checks each measure",))


def _monitoring(shown: Context) -> Item:
    if drafted(shown.assessment) is None:
        return Item("Monitoring plan", "Monitoring proposal", ("stations, instruments and levels",))
    return Item("Monitoring plan", "Monitoring proposal; envpredict plan",
                ("agreement, and what the draft leaves open",))


def _action(shown: Context) -> Item:
    named = shown.submission("site_manager")
    steps = "agreement on the steps at each level and their times" if drafted(shown.assessment) else (
        "the steps at each level, with response times")
    lacking = () if named else ("who has the authority to stop work",)
    return Item("Action plan for exceedance, authority to stop work", "Monitoring proposal; Cautions",
                (steps, *lacking))


def _community(shown: Context) -> Item:
    stated = shown.submission("community")
    return Item("Community: letter, notice, telephone line, complaints, respite, insulation, rehousing", stated or "–",
                () if stated else ("what neighbours are told, when and by whom; how complaints are answered",),
                nothing=not stated)


def _surveys(shown: Context) -> Item:
    stated = shown.submission("condition_surveys")
    return Item("Condition surveys before and after", stated or "–",
                () if stated else ("which structures are surveyed, by whom, before the first pile",),
                nothing=not stated)


def _sign_off(shown: Context) -> Item:
    lacking = _stated(shown, {"competent_person": "the competent person", "qualification": "qualification",
                              "revision": "revision", "date": "date"})
    return Item("Assumptions, limits of use, competence, sign-off, revisions", "Cautions; Competent person and "
                                                                               "sign-off",
                (*lacking, "the signature"))


def _variation(shown: Context) -> Item:
    return Item("Route for changed work", "–", ("who is asked, with which new prediction, before method, energy, "
                                                "hours or "
                                                "sequence change",), nothing=True)


_ITEMS: tuple[Callable[[Context], Item], ...] = (
    _people, _law, _plan, _sections, _programme, _options, _plant, _receptors, _baseline, _method, _results, _vibration,
    _cumulative, _mitigation, _monitoring, _action, _community, _surveys, _sign_off, _variation)
