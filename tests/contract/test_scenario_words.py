"""The starter, the guide and the schema agree, and the words of a scenario are those that the other parts answer to."""

from __future__ import annotations

import json
import re
from pathlib import Path

import geopandas as gpd
import pytest
from shapely.geometry import box

from envpredict.core.errors import ScenarioProblems
from envpredict.engine.intake import read_scenario
from envpredict.engine.results import EFFECTS
from envpredict.limits.facts import FACTS, UNANSWERED
from envpredict.scenario import schema
from envpredict.scenario.schema import LAYER_NAMES, LISTS, TABLES, GroundTable, LimitsTable, ProgrammeTable
from envpredict.scenario.starter import write_starter
from envpredict.scenario.surroundings import COLUMNS
from envpredict.scenario.tables import BASELINE, OTHER_SOURCES, STRATA
from envpredict.scenario.types import (
    CONDITIONS,
    CONSTRAINT_KINDS,
    FOUNDATIONS,
    LIMIT_EFFECTS,
    RECEPTOR_COLUMNS,
    STRUCTURES,
    USES,
)

ROOT = Path(__file__).resolve().parents[2]
GUIDE = (ROOT / "envpredict" / "docs" / "own_footprints.md").read_text(encoding="utf-8")


@pytest.fixture
def starter(tmp_path: Path) -> Path:
    return write_starter(tmp_path / "mine")


def test_the_starter_is_accepted_at_once(starter: Path) -> None:
    scenario = read_scenario(starter)
    assert scenario.invented
    assert len(scenario.piles) == 21
    assert {"Point", "LineString", "Polygon"} <= set(scenario.receptors.geom_type)
    assert scenario.piles.to_crs(4326).geometry.iloc[0].y == pytest.approx(55.5, abs=0.1), "in open sea"


def test_the_starter_explains_every_table_and_word(starter: Path) -> None:
    text = (starter / "scenario.toml").read_text(encoding="utf-8")
    for name in (*TABLES, *LISTS):
        assert f"[{name}]" in text, name
    words = [*LAYER_NAMES, "surface", *USES, *STRUCTURES, *CONDITIONS, *CONSTRAINT_KINDS, *RECEPTOR_COLUMNS]
    words += [column.name for column in (*STRATA, *BASELINE, *OTHER_SOURCES, *COLUMNS["obstacles"])]
    words += [field.alias or name for model in (GroundTable, ProgrammeTable, LimitsTable)
              for name, field in model.model_fields.items()]
    missing = [word for word in words if not re.search(rf"\b{word}\b", text)]
    assert not missing


def test_every_commented_key_of_the_starter_is_a_key(starter: Path) -> None:
    file = starter / "scenario.toml"
    text = file.read_text(encoding="utf-8")
    for pattern in ("# groundwater_m", "# piling_ground", "# direction", "# by =", "# edition =", "# method =",
                    "# applicant", "# site_manager", "# contact_24h", "# legal_basis", "# competent_person"):
        assert pattern in text
    keys = ("id =", "methods? =", "energy_kj", "noise =", "by =", "date =", "edition", "groundwater_m", "piling_ground",
            "direction", "applicant", "site_manager", "contact_24h", "legal_basis", "competent_person")
    opened = re.sub(rf"^# (\[(?!site_law|own)|{'|'.join(keys)})", r"\1", text, flags=re.MULTILINE)
    file.write_text(opened, encoding="utf-8")
    scenario = read_scenario(starter)
    assert [entry.id for entry in scenario.methods][-1] == "small_hammer"
    assert scenario.reductions[0].methods == ("impact_hydraulic",)
    assert scenario.submission["applicant"] == "..."
    assert scenario.programme.reverse


def test_words_are_those_that_limit_sets_ask_for() -> None:
    for name, words in (("use", USES), ("structure", STRUCTURES), ("condition", CONDITIONS),
                        ("foundation", FOUNDATIONS)):
        ours = set(words) - set(UNANSWERED) - ({"none"} if name == "foundation" else set())
        assert ours == set(FACTS[name].words), name
    assert set(LIMIT_EFFECTS) == set(EFFECTS)


def test_the_guide_works_as_it_stands(tmp_path: Path) -> None:
    blocks = dict(re.findall(r"^```(json|toml)\n(.*?)^```", GUIDE, flags=re.DOTALL | re.MULTILINE))
    wall = json.loads(blocks["json"])
    (tmp_path / "wall.geojson").write_text(json.dumps(wall), encoding="utf-8")
    (tmp_path / "scenario.toml").write_text(blocks["toml"], encoding="utf-8")
    line = gpd.read_file(tmp_path / "wall.geojson").to_crs(32631).geometry.iloc[0]
    x, y = line.coords[0]
    gpd.GeoDataFrame({"uID": [1, 2]}, geometry=[box(x, y + 20, x + 9, y + 28), box(x + 20, y + 20, x + 29, y + 28)],
                     crs=32631).to_file(tmp_path / "footprints.gpkg", layer="buildings")
    scenario = read_scenario(tmp_path)
    assert scenario.receptors["id"].tolist() == ["1", "2"]
    assert not scenario.invented
    assert len(scenario.piles) > 50


def test_problems_of_the_real_words_name_the_nearest(starter: Path) -> None:
    file = starter / "scenario.toml"
    text = file.read_text(encoding="utf-8")
    for old, new in (('"press_in_auger"', '"press_auger_in"'), ('"bs_5228_1_2009"]', '"bs5228_1"]')):
        assert old in text
        text = text.replace(old, new)
    file.write_text(text, encoding="utf-8")
    with pytest.raises(ScenarioProblems) as caught:
        read_scenario(starter)
    said = str(caught.value)
    assert "did you mean 'press_in_auger'" in said
    assert "did you mean 'bs_5228_1_2009'" in said


def test_the_reference_names_every_key() -> None:
    page = (ROOT / "envpredict" / "docs" / "scenario_file.md").read_text(encoding="utf-8")
    models = [value for value in vars(schema).values()
              if isinstance(value, type) and issubclass(value, schema.Table) and value is not schema.Table]
    assert len(models) >= 20
    keys = {field.alias or name for model in models for name, field in model.model_fields.items()}
    keys |= {column.name for column in (*STRATA, *BASELINE, *OTHER_SOURCES)}
    keys |= {column.name for columns in COLUMNS.values() for column in columns} | {*LAYER_NAMES, *TABLES, *LISTS}
    missing = sorted(key for key in keys if not re.search(rf"\b{key}\b", page))
    assert not missing
