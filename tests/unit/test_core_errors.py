"""The texts that a user reads when something is wrong: place, fault and remedy, in that order."""

from __future__ import annotations

import pickle

import pytest

from envpredict.core import errors
from envpredict.core.errors import (
    EnvpredictError,
    Incommensurable,
    InputProblems,
    OutputFailure,
    OutsideRange,
    Problem,
    ScenarioProblems,
    UnknownName,
)

LENGTH = Problem("piles.geojson, pile P7", "length_m is -12", "give the length as a positive number of metres")
ABSENT = Problem("scenario.toml, [layers]", "no receptors")


def test_a_problem_reads_place_fault_remedy() -> None:
    assert str(LENGTH) == (
        "piles.geojson, pile P7: length_m is -12 -> give the length as a positive number of metres"
    )
    assert str(ABSENT) == "scenario.toml, [layers]: no receptors"


def test_problems_are_numbered_under_their_subject() -> None:
    found = ScenarioProblems([LENGTH, ABSENT], subject="the scenario 'quay'")
    assert str(found).splitlines() == [
        "2 problems in the scenario 'quay':",
        "  1. piles.geojson, pile P7: length_m is -12 -> give the length as a positive number of metres",
        "  2. scenario.toml, [layers]: no receptors",
    ]


def test_one_problem_is_not_called_problems() -> None:
    assert str(InputProblems([ABSENT])).splitlines()[0] == "1 problem in input:"


def test_a_problem_found_twice_is_told_once_and_the_order_is_kept() -> None:
    found = InputProblems([LENGTH, ABSENT, LENGTH])
    assert found.problems == (LENGTH, ABSENT)


def test_message_and_hint_make_one_line() -> None:
    assert str(EnvpredictError("the folder 'out' exists", "--replace swaps it")) == (
        "the folder 'out' exists -> --replace swaps it"
    )
    assert str(EnvpredictError("no hint")) == "no hint"


def test_an_unknown_name_is_a_key_error_without_the_quotes_of_one() -> None:
    error = UnknownName("unknown method 'presin'", "did you mean 'press_in'?")
    assert isinstance(error, KeyError)
    assert str(error) == "unknown method 'presin' -> did you mean 'press_in'?"


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (EnvpredictError("x"), 2),
        (ScenarioProblems([ABSENT]), 2),
        (UnknownName("x"), 2),
        (Incommensurable("x"), 2),
        (OutsideRange("x"), 1),
        (OutputFailure("x"), 3),
    ],
)
def test_exit_codes(error: EnvpredictError, code: int) -> None:
    assert error.exit_code == code


def test_every_error_is_caught_as_one() -> None:
    raised = [thing for thing in vars(errors).values() if isinstance(thing, type) and issubclass(thing, Exception)]
    assert {thing for thing in raised if not issubclass(thing, EnvpredictError)} == {errors.EnvpredictWarning}


@pytest.mark.parametrize(
    "error", [ScenarioProblems([LENGTH, ABSENT], subject="quay"), UnknownName("unknown method 'x'", "known: y")]
)
def test_errors_survive_the_way_back_from_a_worker_process(error: EnvpredictError) -> None:
    # multiprocessing sends an exception home as a pickle
    back = pickle.loads(pickle.dumps(error))
    assert type(back) is type(error)
    assert str(back) == str(error)
