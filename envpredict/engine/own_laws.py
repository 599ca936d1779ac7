"""The laws that a scenario brings in its own files, beside the published ones."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from envpredict.core.errors import InputProblems, Problem
from envpredict.core.registry import Registry
from envpredict.core.words import suggestion
from envpredict.models.own import own_laws
from envpredict.models.spec import ModelSpec, load_models

if TYPE_CHECKING:
    from envpredict.methods.fields import LawUse
    from envpredict.methods.schema import Method

CHOSEN = "chosen by the scenario"
WHOLE_DRIVE = f"{CHOSEN} for the whole drive, start and stop included"
PARTS = frozenset({"running", "start_stop"})
"""The phases that a law for the whole drive covers."""
ROLES = ("preferred", "alternative", "hard_ground")
"""Which of a method's uses of one model is meant where several are made: the first of these roles."""
OWN = "own"
"""The flag of a law that a scenario brings: any method may be predicted with it."""


def read_own_laws(paths: Sequence[Path]) -> Registry[ModelSpec]:
    """Return the laws of a user's files, by id; each file holds tables `[laws.ID]`.

    Raises InputProblems with every problem of every file: what isn't readable, what isn't a law, ids given twice.
    """
    found: Registry[ModelSpec] = Registry("own law")
    holders: dict[str, str] = {}
    problems: list[Problem] = []
    for path in paths:
        try:
            laws = own_laws(_tables(path, problems), path.name)
        except InputProblems as error:
            problems += error.problems
            continue
        for name, spec in laws.items():
            if name in found:
                problems.append(Problem(f"{path.name}, law '{name}'", f"stands in {holders[name]} too",
                                        "give each law an id of its own"))
            else:
                holders[name] = path.name
                found.add(name, spec)
    if problems:
        raise InputProblems(problems, "own laws")
    return found


def _tables(path: Path, problems: list[Problem]) -> Mapping[str, Any]:
    """Return the laws as written in a file; an unreadable file holds none and is a problem."""
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8"))
    except UnicodeDecodeError:
        problems.append(Problem(path.name, "the file isn't UTF-8 text", "save it as UTF-8"))
        return {}
    except tomllib.TOMLDecodeError as error:
        problems.append(Problem(path.name, f"not valid TOML: {error}", "mend the syntax at that line"))
        return {}
    except OSError as error:
        problems.append(Problem(path.name, f"the file can't be read: {error.strerror}", "check the path in [own] laws"))
        return {}
    problems += [Problem(f"{path.name}, key '{key}'", "isn't a table of laws", suggestion(key, ["laws"]))
                 for key in data if key != "laws"]
    laws = data.get("laws", {})
    if not isinstance(laws, Mapping) or not laws:
        problems.append(Problem(f"{path.name}, key 'laws'", "holds no law", "write a table [laws.ID] for each law"))
        return {}
    return laws


def with_own_laws(paths: Sequence[Path]) -> Registry[ModelSpec]:
    """Return the published laws and those of a user's files; the published registry itself stays as it is.

    Raises InputProblems as `read_own_laws` does.
    """
    published = load_models()
    if not paths:
        return published
    both: Registry[ModelSpec] = Registry("model")
    for name, spec in (*published.items(), *read_own_laws(paths).items()):
        both.add(name, spec)
    return both


def own_ids(models: Mapping[str, ModelSpec]) -> frozenset[str]:
    """Return the ids of the laws that a scenario brings itself."""
    return frozenset(name for name, spec in models.items() if OWN in spec.flags)


def _as_law_of(method: Method, spec: ModelSpec) -> LawUse:
    """Return a law of the user's own as one of the method's laws, for the stage in which the pile is driven."""
    from envpredict.methods.fields import LawUse

    stages = [law.stage for law in method.laws]
    stage = "drive" if "drive" in stages else stages[-1]
    return LawUse(model=spec.id, role="preferred", why=CHOSEN, phase=spec.phase, stage=stage, citation=spec.source)


def laws_with_choice(method: Method, chosen: str | None, models: Mapping[str, ModelSpec], *,
                     in_hard_ground: bool = False) -> tuple[LawUse, ...]:
    """Return the method's laws with a chosen one made the preferred one of its phase, any law of the user's included.

    A law for the whole drive takes the place of those of every phase; where one for a single phase takes the place of a
    law for the whole drive, that one goes on predicting the other phase. What is replaced stays as an alternative. A
    law that only counts in hard ground goes on counting there, unless the choice holds `in_hard_ground` too: then it's
    shown among the others and doesn't govern.
    """
    if chosen is None:
        return method.laws
    able = sorted((law for law in method.laws if law.model == chosen), key=lambda law: ROLES.index(law.role))
    laws = method.laws if able else (*method.laws, _as_law_of(method, models[chosen]))
    wanted = able[0] if able else laws[-1]
    replaced = {law.phase for law in laws if law.stage == wanted.stage and law.role == "preferred"}
    why = WHOLE_DRIVE if PARTS & replaced and wanted.phase == "all" else CHOSEN
    return tuple(law.model_copy(update={"role": "preferred", "why": why}) if law is wanted
                 else law.model_copy(update={"role": "hard_ground_beside"}) if in_hard_ground and _rivals(law, wanted)
                 else _beside(law, wanted) for law in laws)


def _rivals(law: LawUse, wanted: LawUse) -> bool:
    """Tell whether a law for hard ground would compete with the chosen one."""
    return law.role == "hard_ground" and law.stage == wanted.stage and wanted.phase in ("all", law.phase)


def _beside(law: LawUse, wanted: LawUse) -> LawUse:
    """Return a law as it stands beside the chosen one: replaced, left with the other phase, or as it was."""
    if law.role != "preferred" or law.stage != wanted.stage:
        return law
    if wanted.phase in ("all", law.phase):
        return law.model_copy(update={"role": "alternative"})
    if law.phase == "all":
        (other,) = PARTS - {wanted.phase}
        return law.model_copy(update={"phase": other, "why": f"{law.why} For {other.replace('_', ' and ')} alone: the "
                                                             "scenario chose another law beside it."})
    return law
