"""A progress bar on a terminal, silence elsewhere."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import click

HUNDRED = 100


@contextmanager
def steps() -> Iterator[Callable[[str, float], None]]:
    """Yield a function that is told what comes next, in a short text, and the share of the work done, 0 to 1."""
    if not sys.stderr.isatty():
        yield lambda _text, _share: None
        return
    current = ""
    bar: Any
    with click.progressbar(length=HUNDRED, file=sys.stderr, show_eta=False,
                           item_show_func=lambda _item: current) as bar:

        def tell(text: str, share: float) -> None:
            nonlocal current
            current = text
            bar.update(max(round(HUNDRED * share) - bar.pos, 0))
            bar.render_progress()

        yield tell
        bar.update(HUNDRED - bar.pos)
