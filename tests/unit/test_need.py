"""A test that needs a program of the machine is skipped at home and fails where `CI` is set."""

from __future__ import annotations

from collections.abc import Callable

import pytest


def test_a_missing_program_is_skipped_with_the_way_to_install_it(
    need: Callable[[str], str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", "")
    monkeypatch.delenv("CI", raising=False)
    with pytest.raises(pytest.skip.Exception, match=r"'chromium' isn't installed.*apt-get install chromium"):
        need("chromium")


def test_a_missing_program_fails_in_continuous_integration(
    need: Callable[[str], str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", "")
    monkeypatch.setenv("CI", "true")
    with pytest.raises(pytest.fail.Exception, match="apt-get install chromium"):
        need("chromium")


def test_a_program_of_the_environment_is_found_without_activating_it(
    need: Callable[[str], str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", "")
    assert need("envpredict").endswith("envpredict")
