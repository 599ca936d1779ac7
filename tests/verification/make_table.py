"""Write the page of verified vibration laws: law, source, example, our value, deviation.

Run: python tests/verification/make_table.py
"""

from __future__ import annotations

from pathlib import Path

from vibration_cases import Case, all_cases

PAGE = Path(__file__).resolve().parents[2] / "envpredict" / "docs" / "verification_vibration.md"

COLUMNS = ("source", "basis", "example", "printed", "ours", "deviation", "met")

INTRODUCTION = """# Vibration laws against their documents

Every value that a document prints, or that was worked by hand from its constants, beside what the package returns. A
value is met when it differs by no more than half a unit of its last printed digit. A value marked `memory` was
recalled, not seen: meeting it shows that the equation is typed as recalled, not that the constants are right. Verify
them against the document before anybody relies on them.

This page is written by `python tests/verification/make_table.py`; the values stand in `tests/verification/vibration/`.
"""


def _inputs(case: Case) -> str:
    return ", ".join(f"{name} {cell}" for name, cell in case.cells.items() if cell)


def _significant(value: float, printed: str) -> str:
    """Return our value with one digit more than the print."""
    return f"{value:.{len(printed.partition('.')[2]) + 1}f}"


def _deviation(case: Case) -> str:
    if case.spec.quantity.endswith("_db") or float(case.printed) == 0.0:
        return f"{case.deviation + 0.0:+.2f} {case.unit}"
    return f"{100.0 * case.deviation / float(case.printed):+.2f} %"


def _row(case: Case) -> str:
    note = f" ({case.note})" if case.note else ""
    met = "yes" if abs(case.deviation) <= case.tolerance else "NO"
    cells = (f"{case.source}: {case.place}{note}", case.basis, _inputs(case), f"{case.printed} {case.unit}",
             _significant(case.ours, case.printed), _deviation(case), met)
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def table() -> str:
    """Return the page as text."""
    parts = [INTRODUCTION]
    by_model: dict[str, list[Case]] = {}
    for case in all_cases():
        by_model.setdefault(case.model, []).append(case)
    for model, cases in by_model.items():
        parts.append(f"\n## `{model}`\n\n{cases[0].spec.title}. Declared source: {cases[0].spec.source}.\n\n"
                     f"| {' | '.join(COLUMNS)} |\n|{' --- |' * len(COLUMNS)}\n" + "\n".join(map(_row, cases)) + "\n")
    return "".join(parts)


if __name__ == "__main__":
    PAGE.parent.mkdir(parents=True, exist_ok=True)
    PAGE.write_text(table(), encoding="utf-8")
    print(f"written: {PAGE}")
