"""What every published equation keeps to: loops over the registry, so that a new one is held to it at once."""

from __future__ import annotations

import inspect
import re
from typing import Any

import numpy as np
import pytest

from envpredict.core.citation import VERIFY_MARK, Citation
from envpredict.core.quantities import QUANTITIES
from envpredict.core.vocabulary import INPUTS
from envpredict.models.spec import PHASES, ModelSpec, load_models

MODELS = load_models()
EVERY = pytest.mark.parametrize("spec", list(MODELS.values()), ids=list(MODELS))
SAMPLES = {
    "energy_j": 20_000.0, "reference_energy_j": 30_000.0, "shear_wave_speed_m_s": 200.0, "sound_power_db": 110.0,
    "level_db": 70.0, "reference_level_db": 80.0, "period_s": 3600.0, "damping_per_m": 0.01, "shear_strain": 1e-5,
    "crest_factor": 2.0, "damping_ratio": 0.05, "coefficient": 1.2, "log_slope": 1.0, "depth_m": 3.0,
    "pressure_kpa": 101.325,
}
JARGON = ("PPV", "KB", "VDV", "SEL", "LAeq", "_", "^", "=", "RMS", "rms", "sqrt", "W_", "k_")


def sample(spec: ModelSpec, name: str) -> float:
    """Return a plain value of an input inside the range that the equation states."""
    value = SAMPLES.get(name, 10.0)
    limits = spec.validity.get(name)
    if limits is not None and not limits.low <= value <= limits.high:
        finite_high = limits.high if np.isfinite(limits.high) else limits.low + 2.0
        value = 0.5 * (max(limits.low, 0.0) + finite_high)
    return value


def numeric(spec: ModelSpec) -> list[str]:
    return [name for name in spec.inputs if name not in spec.options]


def arguments(spec: ModelSpec, **changed: Any) -> dict[str, Any]:
    """Return one plain value per argument, with some of them changed."""
    plain: dict[str, Any] = {name: sample(spec, name) for name in numeric(spec)}
    plain |= {name: words[0] for name, words in spec.options.items()}
    return plain | changed


def spread(spec: ModelSpec, name: str, shape: tuple[int, ...]) -> np.ndarray:
    """Return an array of slightly different values of an input."""
    size = int(np.prod(shape))
    return sample(spec, name) * np.linspace(1.0, 1.05, size).reshape(shape)


def citations(spec: ModelSpec) -> list[Citation]:
    return [spec.source, *spec.sources, *([spec.scatter.source] if spec.scatter else [])]


def test_there_are_models_of_both_kinds() -> None:
    effects = {QUANTITIES[spec.quantity].effect for spec in MODELS.values()}
    assert effects == {"vibration", "noise"}


@EVERY
def test_scalars_in_scalar_out(spec: ModelSpec) -> None:
    result = spec(**arguments(spec))
    assert isinstance(result, np.float64) or np.shape(result)[-1:] == (8,)
    assert np.isfinite(result).all()


@EVERY
def test_arrays_in_arrays_out(spec: ModelSpec) -> None:
    bands = np.shape(spec(**arguments(spec)))
    for name in numeric(spec):
        assert spec(**arguments(spec, **{name: spread(spec, name, (4,))})).shape == (4, *bands)
    if len(numeric(spec)) > 1:
        first, *_, last = numeric(spec)
        both = {first: spread(spec, first, (3, 1)), last: spread(spec, last, (1, 4))}
        assert spec(**arguments(spec, **both)).shape == (3, 4, *bands)


@EVERY
def test_an_array_gives_what_its_elements_give(spec: ModelSpec) -> None:
    for name in numeric(spec):
        values = spread(spec, name, (3,))
        whole = spec(**arguments(spec, **{name: values}))
        one_by_one = [spec(**arguments(spec, **{name: value})) for value in values]
        np.testing.assert_allclose(whole, np.stack([np.asarray(one) for one in one_by_one]), rtol=1e-13)


@EVERY
def test_words_may_be_arrays(spec: ModelSpec) -> None:
    for name, words in spec.options.items():
        each = np.array([spec(**arguments(spec, **{name: word})) for word in words])
        together = spec(**arguments(spec, **{name: np.array(words)}))
        np.testing.assert_allclose(together, each, rtol=1e-13)


@EVERY
def test_an_unknown_word_is_refused_by_name(spec: ModelSpec) -> None:
    for name, words in spec.options.items():
        for wrong in ("no such word", np.array([words[0], "no such word"])):
            with pytest.raises(ValueError, match=name):
                spec(**arguments(spec, **{name: wrong}))


@EVERY
def test_inputs_are_left_unchanged(spec: ModelSpec) -> None:
    given = arguments(spec, **{name: spread(spec, name, (5,)) for name in numeric(spec)})
    before = {name: np.copy(value) for name, value in given.items()}
    for value in given.values():
        if isinstance(value, np.ndarray):
            value.flags.writeable = False
    spec(**given)
    for name, value in given.items():
        np.testing.assert_array_equal(value, before[name])


@EVERY
def test_the_result_is_no_view_of_an_input(spec: ModelSpec) -> None:
    given = {name: spread(spec, name, (5,)) for name in numeric(spec)}
    result = spec(**arguments(spec, **given))
    assert not any(np.shares_memory(result, value) for value in given.values())


@EVERY
def test_nan_passes_through(spec: ModelSpec) -> None:
    for name in numeric(spec):
        values = spread(spec, name, (3,))
        values[1] = np.nan
        result = spec(**arguments(spec, **{name: values}))
        assert np.isnan(result[1]).any(), f"NaN {name} gives {result[1]}"
        assert np.isfinite(result[[0, 2]]).all()


@EVERY
@pytest.mark.parametrize("bad", [0.0, -1.0])
def test_a_distance_or_energy_that_is_not_positive_is_refused_by_name(spec: ModelSpec, bad: float) -> None:
    for name in {"distance_m", "energy_j", "reference_distance_m", "reference_energy_j"} & set(spec.inputs):
        for wrong in (bad, np.array([5.0, bad]), np.array([np.nan, bad])):
            with pytest.raises(ValueError, match=name):
                spec(**arguments(spec, **{name: wrong}))


@EVERY
def test_the_level_never_rises_with_distance_where_declared(spec: ModelSpec) -> None:
    if not spec.falls_with_distance:
        assert "distance_m" not in spec.inputs or spec.flags & {"generic"} or "attenuation" in spec.quantity or (
            "correction" in spec.quantity)
        return
    limits = spec.validity["distance_m"]
    low, high = max(limits.low, 0.5), min(limits.high, 1000.0)
    distance = np.geomspace(low, high, 400)
    context = {name: sample(spec, name) for name in spec.range_inputs if name != "distance_m"}
    inside = spec.in_range(distance_m=distance, **context)
    assert inside.sum() > 100
    level = spec(**arguments(spec, distance_m=distance))[inside]
    assert (np.diff(level, axis=0) <= 1e-12).all()
    assert (level[-1] < level[0]).all()


@EVERY
def test_a_range_is_given_for_every_input_or_said_to_be_unstated(spec: ModelSpec) -> None:
    assert set(numeric(spec)) <= set(spec.validity), f"without a range: {set(numeric(spec)) - set(spec.validity)}"
    for name, limits in spec.validity.items():
        assert name in INPUTS
        assert limits.place, f"{name}: a range says where it's from"
        assert limits.stated == bool(np.isfinite([limits.low, limits.high]).any())


def accepts(spec: ModelSpec, name: str, value: float) -> bool:
    """Return whether the equation takes a value at all: what it refuses can't be out of range."""
    if name not in spec.inputs:
        return True
    try:
        spec(**arguments(spec, **{name: value}))
    except ValueError:
        return False
    return True


@EVERY
def test_flags_of_the_range_follow_the_inputs(spec: ModelSpec) -> None:
    plain = {name: sample(spec, name) for name in spec.range_inputs}
    assert spec.in_range(**plain).all()
    for name, limits in spec.validity.items():
        if not limits.stated:
            continue
        outside = [end for end in (0.5 * limits.low, limits.low - 1.0, limits.high + 1.0, limits.high * 2.0)
                   if np.isfinite(end) and not limits.holds(end) and accepts(spec, name, end)]
        flags = spec.in_range(**{**plain, name: np.array([*outside, np.nan])})
        assert flags.shape == (len(outside) + 1,)
        assert not flags.any()


@EVERY
def test_what_the_range_needs_is_asked_for(spec: ModelSpec) -> None:
    for name in spec.range_inputs:
        rest = {other: sample(spec, other) for other in spec.range_inputs if other != name}
        with pytest.raises(ValueError, match=name):
            spec.in_range(**rest)


@EVERY
def test_the_citation_is_complete(spec: ModelSpec) -> None:
    for citation in citations(spec):
        assert citation.document.strip()
        assert citation.place.strip()
        assert (citation.document == "our judgement") <= (citation.basis == "estimate")
        assert VERIFY_MARK[citation.basis] in str(citation)


@EVERY
def test_the_title_is_plain(spec: ModelSpec) -> None:
    assert re.match(r"[A-Z]", spec.title)
    assert 15 <= len(spec.title) <= 110
    assert not any(word in spec.title for word in JARGON), spec.title


def test_titles_tell_the_models_apart() -> None:
    titles = [spec.title for spec in MODELS.values()]
    assert len(set(titles)) == len(titles)


@EVERY
def test_the_docstring_tells_the_unit_and_shows_an_example(spec: ModelSpec) -> None:
    text = inspect.getdoc(spec.function) or ""
    unit = QUANTITIES[spec.quantity].unit.split()[0]
    assert unit in text or unit == "1"
    assert ">>>" in text


@EVERY
def test_the_statistic_leads_to_a_median(spec: ModelSpec) -> None:
    value = np.asarray(spec(**arguments(spec)))
    if spec.statistic == "exceedance":
        assert MODELS[spec.medians].statistic == "median"
        with pytest.raises(ValueError, match=spec.medians):
            spec.median(value)
    elif spec.statistic == "upper_bound":
        assert (spec.median(value) < value).all()
    else:
        np.testing.assert_array_equal(spec.median(value), value)


@EVERY
def test_phases_and_flags_are_known_words(spec: ModelSpec) -> None:
    assert spec.phase in PHASES
    for word in spec.options.get(spec.phase_option, ()):
        assert spec.phase_of(**{spec.phase_option: word}) in PHASES
    assert spec.flags <= {"estimate", "proxy", "placeholder", "generic"}


def laws() -> list[ModelSpec]:
    """Return the models that predict ground vibration at a distance."""
    return [spec for spec in MODELS.values()
            if QUANTITIES[spec.quantity].effect == "vibration" and spec.distance != "none"]


@pytest.mark.parametrize("spec", laws(), ids=lambda spec: spec.id)
def test_a_vibration_law_declares_its_scatter_in_two_parts(spec: ModelSpec) -> None:
    assert spec.scatter is not None
    assert spec.scatter.within_site > 0.0
    assert spec.scatter.between_site > 0.0
    unit = 20.0 if QUANTITIES[spec.quantity].scale == "decibel" else 1.0
    assert 0.2 * unit <= spec.scatter.total <= 0.6 * unit


@pytest.mark.parametrize("spec", laws(), ids=lambda spec: spec.id)
def test_an_estimate_says_so_in_every_way(spec: ModelSpec) -> None:
    said = spec.id.endswith(("_estimate", "_placeholder"))
    assert said <= ("estimate" in spec.flags)
    assert (spec.source.basis == "estimate") == ("estimate" in spec.flags)
    if "estimate" in spec.flags:
        assert spec.basis == "estimate"
        assert re.search("estimate|placeholder", spec.title)
