"""The documents behind the identifiers that findings carry: titles, places and how they are known."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pandas as pd

    from envpredict.engine.results import Assessment


def documents(assessment: Assessment, frame: pd.DataFrame) -> dict[str, dict[str, list[str]]]:
    """Return, for every model, limit set and class of the findings, its title and source or its meaning.

    What no registry holds (a law fitted on the site's own records) keeps its identifier as its title.
    """
    from envpredict.engine.catalogue import load_catalogue

    catalogue = load_catalogue(assessment.scenario.own)
    models, sets = {}, {}
    for name in sorted(frame["model"].dropna().astype(str).unique()):
        if name in catalogue.models:
            spec = catalogue.models[name]
            models[name] = [spec.title, str(spec.source)]
    for name in sorted(frame["limit_set"].dropna().astype(str).unique()):
        if name in catalogue.limit_sets:
            entry = catalogue.limit_sets[name]
            sets[name] = [entry.title, ", ".join(part for part in (entry.document, entry.edition) if part)]
    classes = {}
    for name, class_id in frame[["limit_set", "class"]].dropna().astype(str).drop_duplicates().itertuples(index=False):
        if name in sets and class_id:
            classes[f"{name}/{class_id}"] = [catalogue.limit_sets[name].meaning(class_id)]
    return {"models": models, "sets": sets, "classes": classes}
