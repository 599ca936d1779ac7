"""What a run stood on: versions, hashes of inputs, every source used."""

from __future__ import annotations

from collections.abc import Iterable
from importlib.metadata import version
from typing import TYPE_CHECKING

from envpredict.core.citation import Citation
from envpredict.engine.learned.evidence import HARDER_SOURCE
from envpredict.engine.learned.site_law import ENOUGH, REACH
from envpredict.engine.learned.use import SiteUse, summary
from envpredict.engine.results import Provenance
from envpredict.engine.sound.field import HEAD_HEIGHT
from envpredict.engine.sound.method import ON_TIME_SOURCE
from envpredict.engine.sound.points import EAR_HEIGHT
from envpredict.engine.sound.run_sound import NOISE_METHODS
from envpredict.engine.sound.times import PITCHING
from envpredict.models.noise.facade_indoor import FACADE

if TYPE_CHECKING:
    from envpredict.engine.catalogue import Catalogue
    from envpredict.engine.run import MethodRun
    from envpredict.engine.sound.field import NoiseMethod
    from envpredict.scenario.types import Scenario

PACKAGES = ("numpy", "scipy", "pandas", "geopandas", "shapely", "pyproj", "numba", "folium")


def _citations(scenario: Scenario, catalogue: Catalogue, methods: Iterable[MethodRun]) -> set[Citation]:
    found: set[Citation] = {EAR_HEIGHT, HEAD_HEIGHT, ON_TIME_SOURCE, PITCHING, FACADE}
    for set_id in scenario.limits.ids:
        for rule in catalogue.limit_sets[set_id].rules:
            found.update(rule.citations)
    for method in methods:
        for field in method.sample.vibration.fields:
            found.update({field.spec.source, *field.spec.sources, field.law.citation})
            if field.spec.scatter is not None:
                found.add(field.spec.scatter.source)
        for use, plant in method.choice.plant:
            found.update({use.citation, plant.citation, plant.spectrum_citation, plant.u_citation})
        found.update(rate.citation for rate in method.passes.rate_sources)
        if method.choice.energy_source is not None:
            found.add(method.choice.energy_source)
        if method.choice.site != SiteUse():
            found.update({ENOUGH, REACH, *([HARDER_SOURCE] if method.choice.site.harder else [])})
    noise = _noise_method(scenario)
    found.update(noise.sources)
    for model_id in noise.models:
        spec = catalogue.models[model_id]
        found.update({spec.source, *spec.sources})
    return found


def _noise_method(scenario: Scenario) -> NoiseMethod:
    return NOISE_METHODS[scenario.choice.get("noise", "octave")]


def provenance(scenario: Scenario, catalogue: Catalogue, methods: tuple[MethodRun, ...]) -> Provenance:
    """Return the record of a run; it holds no clock time and no path, so a rerun gives the same."""
    sources = sorted(str(citation) for citation in _citations(scenario, catalogue, methods))
    noise = _noise_method(scenario)
    laws = {field.spec.id for method in methods for field in method.sample.vibration.fields}
    models = sorted(laws | set(noise.models))
    sets = tuple(f"{set_id}: {catalogue.limit_sets[set_id].document}, {catalogue.limit_sets[set_id].edition}"
                 for set_id in scenario.limits.ids)
    options = {"design_exceedance": scenario.design_exceedance, "methods": [m.choice.id for m in methods],
               "stated_by_scenario": {m.choice.id: list(m.choice.stated) for m in methods if m.choice.stated},
               "temperature_c": scenario.acoustic.temperature_c, "humidity_percent": scenario.acoustic.humidity_percent,
               "porosity": scenario.acoustic.porosity, "crs": scenario.crs.to_string(), "noise": noise.title}
    taught = {m.choice.id: summary(m.choice.site) for m in methods if m.choice.site != SiteUse()}
    if taught:
        options["site_law"] = taught
    if scenario.surface is not None and scenario.acoustic.terrain == "surface":
        options["terrain"] = scenario.surface.name
    return Provenance(version("envpredict"), dict(scenario.inputs), {name: version(name) for name in PACKAGES},
                      tuple(sources), sets, tuple(models), options)
