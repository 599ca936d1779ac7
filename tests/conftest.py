"""What every test may ask for: the repository's folder, and programs of the machine that pip doesn't bring."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]

INSTALL_HINTS = {
    "chromium": "Debian, Ubuntu: apt-get install chromium fonts-liberation",
    "envpredict": "in the virtual environment: pip install -e .",
    "gdalinfo": "Debian, Ubuntu: apt-get install gdal-bin",
    "lint-imports": "in the virtual environment: pip install -e '.[dev]'",
    "ogrinfo": "Debian, Ubuntu: apt-get install gdal-bin",
    "oxlint": "in the virtual environment: pip install -e '.[test]'",
    "pdftoppm": "Debian, Ubuntu: apt-get install poppler-utils",
    "pdftotext": "Debian, Ubuntu: apt-get install poppler-utils",
    "soffice": "Debian, Ubuntu: apt-get install libreoffice-writer-nogui libreoffice-calc-nogui",
}


@pytest.fixture(scope="session")
def root() -> Path:
    """Return the folder of the repository."""
    return ROOT


@pytest.fixture(scope="session")
def need() -> Callable[[str], str]:
    """Return a function that gives the path of a program of this machine.

    Where the program is missing the test is skipped with the way to install it; where `CI` is set it fails, so that
    nothing is left out there unnoticed.
    """

    def path_of(program: str) -> str:
        beside_python = str(Path(sys.executable).parent)
        found = shutil.which(program, path=beside_python) or shutil.which(program)
        if found:
            return found
        said = f"'{program}' isn't installed. {INSTALL_HINTS[program]}"
        if os.environ.get("CI"):
            pytest.fail(said)
        pytest.skip(said)

    return path_of
