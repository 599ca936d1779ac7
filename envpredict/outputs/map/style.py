"""The page's own colours and the words that stand beside them.

Told apart without colour vision too: every word has a shape of its own, and the colours also differ in lightness.
"""

from __future__ import annotations

from typing import Any

from envpredict.engine.results import LIKELIHOOD_MEANING, SEVERITY

WORDS: dict[str, str] = {
    "breach": "breach",
    "likely": "likely",
    "possible": "possible",
    "cannot_judge": "cannot be judged",
    "unlikely": "unlikely",
    "not_applicable": "not applicable",
    "none": "no finding",
    "quiet": "nothing that day",
}
"""The words of the page, from the most severe; the last two aren't likelihoods: no adopted rule, no work to judge."""

COLOURS: dict[str, tuple[str, str]] = {
    "breach": ("#111417", "#ffffff"),
    "likely": ("#7c1d54", "#ffffff"),
    "possible": ("#e0a11f", "#3d2b00"),
    "cannot_judge": ("#ffffff", "#454f59"),
    "unlikely": ("#8cbcdb", "#1d4763"),
    "not_applicable": ("#c9cdd1", "#5d666e"),
    "none": ("#e4e6e8", "#7b848c"),
    "quiet": ("#e4e6e8", "#7b848c"),
}
"""Fill, and the colour of the outline or of what is drawn into the shape."""

SHAPES: dict[str, str] = {
    "breach": "square with a cross",
    "likely": "triangle",
    "possible": "diamond",
    "cannot_judge": "circle with a question mark",
    "unlikely": "circle",
    "not_applicable": "bar",
    "none": "small dot",
    "quiet": "small dot",
}
MEANING: dict[str, str] = {
    **{str(word): meaning for word, meaning in LIKELIHOOD_MEANING.items()},
    "none": "no adopted rule speaks of this receptor here",
    "quiet": "no level to judge on this day",
}
ORDER: tuple[str, ...] = (*SEVERITY, "none", "quiet")
"""The page's codes: the position of a word in this row."""
CONTOUR_COLOUR = "#0d6a66"
"""The one hue of all level lines."""


def words() -> list[dict[str, Any]]:
    """Return what the page draws and writes for every code."""
    return [{"id": word, "word": WORDS[word], "meaning": MEANING[word], "shape": SHAPES[word],
             "fill": COLOURS[word][0], "ink": COLOURS[word][1], "rank": list(WORDS).index(word)} for word in ORDER]
