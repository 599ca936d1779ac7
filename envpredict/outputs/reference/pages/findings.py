"""The columns of `findings.csv`: one row per receptor, method and limit (and period)."""

from __future__ import annotations

from envpredict.core.citation import BASIS_MEANING
from envpredict.core.quantities import POSITIONS, QUANTITIES
from envpredict.engine.results import EFFECTS, FINDING_COLUMNS, LIKELIHOOD_MEANING
from envpredict.outputs.reference.markdown import sections, table

TITLE = "Findings"


def body() -> str:
    """Return the columns and the words that stand in them."""
    quantities = [(f"`{q.id}`", q.symbol, q.unit, q.meaning, q.component, q.combine) for q in QUANTITIES.values()]
    return sections([
        table(["column", "kind", "meaning"],
              [(f"`{name}`", kind, meaning) for name, (kind, meaning) in FINDING_COLUMNS.items()]),
        "## Words of `likelihood`",
        table(["word", "meaning"], [(f"`{word}`", meaning) for word, meaning in LIKELIHOOD_MEANING.items()]),
        "## Words of `effect`",
        table(["word", "meaning"], [(f"`{word}`", meaning) for word, meaning in EFFECTS.items()]),
        "## Words of `basis` and `median_basis`",
        "From the strongest to the weakest; a finding is as good as its weakest input.",
        table(["word", "meaning"], [(f"`{word}`", meaning) for word, meaning in BASIS_MEANING.items()]),
        "## Words of `position`",
        table(["word", "meaning"], [(f"`{word}`", meaning) for word, meaning in POSITIONS.items()]),
        "## Words of `quantity`",
        table(["word", "symbol", "unit", "meaning", "component", "sources combine by"], quantities),
    ])
