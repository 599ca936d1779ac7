"""What outputs need is imported while kernels that hold no lock still compute the numbers."""

from __future__ import annotations

import importlib
from contextlib import suppress
from threading import Thread

from envpredict.outputs.registry import load_outputs

LATER = ("matplotlib.figure", "matplotlib.backends.backend_svg", "matplotlib.backends.backend_agg", "docx",
         "scipy.interpolate", "envpredict.monitoring.draft", "envpredict.outputs.report.docx_file")
"""What single outputs import only when they're written."""


def import_beside() -> Thread:
    """Begin to import what outputs need, in a thread, and return it.

    What can't be imported is told where it's used, as if this hadn't been called.
    """
    thread = Thread(target=_import, name="imports of outputs")
    thread.start()
    return thread


def _import() -> None:
    with suppress(Exception):
        load_outputs()
        for name in LATER:
            importlib.import_module(name)
