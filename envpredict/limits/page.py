"""The page of all limit sets: `python -m envpredict.limits.page` writes `docs/limits.md` from the data."""

from __future__ import annotations

from pathlib import Path

from envpredict.limits.describe import describe, marked
from envpredict.limits.facts import FACTS
from envpredict.limits.load import load_limit_sets

PAGE = Path(__file__).resolve().parents[1] / "docs" / "limits.md"
INTRODUCTION = """\
<!-- Written by `python -m envpredict.limits.page` from the files in envpredict/limits/sets: change those. -->

# Limits

Every limit that is shipped, whole: what is limited, where, when, for whom, and how well every part is known. Nothing
here is legal advice: local codes and the authority's consent decide, editions change, and a value that isn't `read`
must be compared with the document before it's relied on. `read` often means that another document quotes it (named
after "quoted in"); paid standards were not opened. A receptor that a set can't class gets no verdict, and the missing
fact is named.
"""
GAPS = """\
## Looked for and not found

No values were found for: the factors of NS 8141 (Norway, 2001 and 2022), ONORM S 9020:2015 (Austria), UNI 9614:2017
(Italy), the table for temporary works of the Dutch guideline B, a velocity limit of a European railway owner, limits
for slopes, a limit in peak velocity for animals, and trigger percentages in any standard. Conditions written for one
project are left out.
"""


def page() -> str:
    """Return the page: introduction, list of sets, facts asked for, every set, what was not found."""
    sets = load_limit_sets()
    lines = [INTRODUCTION, f"{len(sets)} sets:", "", "| set | document | country | speaks of | known as |",
             "| --- | --- | --- | --- | --- |"]
    for found in sets.values():
        document = f"{found.document}, {found.edition}"
        lines.append(f"| [{found.id}](#{found.id}) | {document} | {found.country} | {', '.join(found.effects)} | "
                     f"{marked(found.basis)} |")
    lines += ["", "## Facts that classes are told by", "",
              "Given once per receptor, in plain words; only those that a chosen set asks for are needed.", "",
              "| fact | meaning | given by | words |", "| --- | --- | --- | --- |"]
    for name, fact in FACTS.items():
        words = "; ".join(f"`{word}`" + (f" {meaning}" if meaning != word else "")
                          for word, meaning in fact.words.items())
        lines.append(f"| {name} | {fact.meaning} | {fact.asked_of} | {words or 'as the set names them'} |")
    lines += ["", *(describe(found) for found in sets.values()), GAPS]
    return "\n".join(lines)


def main() -> None:
    """Write the page."""
    PAGE.write_text(page(), encoding="utf-8")


if __name__ == "__main__":
    main()
