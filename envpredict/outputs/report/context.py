"""What the chapters read: the run's view with the declarations behind its identifiers."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from envpredict.core.citation import weakest
from envpredict.outputs.texts import clean
from envpredict.outputs.view import View, catalogue_of, view

if TYPE_CHECKING:
    from envpredict.core.citation import Basis, Citation
    from envpredict.engine.catalogue import Catalogue
    from envpredict.engine.results import Assessment
    from envpredict.engine.works.choices import MethodChoice
    from envpredict.scenario.types import Scenario


class References:
    """Numbers for sources: those of the run in its order, then what only the report cites, as it comes."""

    def __init__(self, sources: Iterable[str]) -> None:
        self.texts = list(sources)
        self._number = {text: number for number, text in enumerate(self.texts, 1)}

    def of(self, *citations: Citation) -> str:
        """Return the numbers under which citations stand in the list of sources, as S3, S7."""
        return self.of_texts(*map(str, citations))

    def of_texts(self, *texts: str) -> str:
        """Return the numbers of citations that are already spelled out."""
        for text in texts:
            if text not in self._number:
                self.texts.append(text)
                self._number[text] = len(self.texts)
        return ", ".join(dict.fromkeys(f"S{self._number[text]}" for text in texts))


@dataclass(frozen=True, slots=True, eq=False)
class Context:
    """A run with its catalogue; `names` are the receptors' names that may be shown.

    `rules`: the adopted rules (set, rule) in the order in which the report numbers them.
    """

    view: View
    catalogue: Catalogue
    names: dict[str, str]
    rules: tuple[tuple[str, str], ...]
    references: References = field(repr=False)

    @property
    def assessment(self) -> Assessment:
        """Return the run."""
        return self.view.assessment

    @property
    def scenario(self) -> Scenario:
        """Return the scenario."""
        return self.view.assessment.scenario

    @property
    def methods(self) -> tuple[MethodChoice, ...]:
        """Return the candidates in the scenario's order."""
        return self.view.assessment.methods

    def method_number(self, method: str) -> str:
        """Return the number under which a method stands in the table of candidates, as M2."""
        return f"M{self.view.methods.index(method) + 1}"

    def days_basis(self, method: str) -> Basis:
        """Return the weakest basis of the rates that a method's days of work rest on."""
        choice = next(one for one in self.methods if one.id == method)
        return weakest(rate.basis for rate in choice.method.rates.values())

    def submission(self, key: str) -> str:
        """Return what the scenario states for the submission under a key, fit for print; empty where it doesn't."""
        value = self.scenario.submission.get(key)
        return "" if value is None else clean(value, None)

    def set_title(self, set_id: str) -> str:
        """Return a limit set's title; its identifier where no registry holds it."""
        sets = self.catalogue.limit_sets
        return sets[set_id].title if set_id in sets else set_id

    def document(self, set_id: str) -> str:
        """Return a limit set's document and edition."""
        sets = self.catalogue.limit_sets
        if set_id not in sets:
            return set_id
        found = sets[set_id]
        return found.document if found.edition in found.document else f"{found.document} ({found.edition})"

    def rule_number(self, set_id: str, rule_id: str) -> str:
        """Return the number under which a rule stands in the table of rules, as L3."""
        return f"L{self.rules.index((set_id, rule_id)) + 1}"

    def rule_title(self, set_id: str, rule_id: str) -> str:
        """Return the title of a rule."""
        sets = self.catalogue.limit_sets
        return sets[set_id].rule(rule_id).title if set_id in sets else rule_id


def context(assessment: Assessment) -> Context:
    """Return what the chapters of a run read."""
    seen = view(assessment)
    pairs = assessment.findings[["limit_set", "rule"]].drop_duplicates()
    rules = tuple((str(set_id), str(rule_id)) for set_id, rule_id in pairs.itertuples(index=False))
    return Context(seen, catalogue_of(assessment),
                   {key: clean(name, 60) for key, name in seen.names().items()}, rules,
                   References(assessment.provenance.sources))
