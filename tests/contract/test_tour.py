"""The notebook beside the demo scenario runs from top to bottom, and shows what its texts promise."""

from __future__ import annotations

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

from envpredict.core.cautions import CAUTIONS
from envpredict.outputs.registry import load_outputs

TOUR = Path(__file__).resolve().parents[2] / "scenarios" / "quay_wall" / "tour.ipynb"
SECONDS = 600


@pytest.fixture(scope="module")
def shown() -> dict[str, str]:
    """Return what each cell shows when the notebook is run in its folder: cell id to text or HTML."""
    notebook = nbformat.read(TOUR, as_version=4)
    NotebookClient(notebook, timeout=SECONDS, kernel_name="python3",
                   resources={"metadata": {"path": str(TOUR.parent)}}).execute()
    return {cell.id: "".join(out.get("text") or out.data.get("text/html") or out.data["text/plain"]
                             for out in cell.outputs)
            for cell in notebook.cells if cell.cell_type == "code"}


def test_it_is_kept_without_results() -> None:
    notebook = nbformat.read(TOUR, as_version=4)
    nbformat.validate(notebook)
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    assert code
    assert all(cell.outputs == [] and cell.execution_count is None for cell in code)


def test_every_cell_shows_something(shown: dict[str, str]) -> None:
    assert [name for name, text in shown.items() if not text.strip()] == []


def test_it_shows_the_cautions_the_counts_and_the_map(shown: dict[str, str]) -> None:
    assert all(f"! {caution}" in shown["assess"] for caution in CAUTIONS)
    assert all(word in shown["counts"] for word in ("likely", "cannot_judge", "press_in_auger", "damage", "noise"))
    assert "rm-data" in shown["map"]


def test_it_traces_a_number_to_its_source_and_its_margin(shown: dict[str, str]) -> None:
    assert all(word in shown["explain"] for word in ("Law:", "source:", "Limit:", "Margin:", "Likelihood:", "verify"))


def test_it_writes_every_output(shown: dict[str, str]) -> None:
    assert shown["write"].split() == sorted(set(load_outputs()) - {"findings.parquet"})
