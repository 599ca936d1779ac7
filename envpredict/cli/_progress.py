"""A progress bar on a terminal, silence elsewhere."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import click


@contextmanager
def steps(count: int) -> Iterator[Callable[[str], None]]:
    """Yield a function that is called with a short text before each of `count` steps."""
    if not sys.stderr.isatty():
        yield lambda _text: None
        return
    done = 0
    current = ""
    bar: Any
    with click.progressbar(length=count, file=sys.stderr, show_eta=False,
                           item_show_func=lambda _item: current) as bar:

        def tell(text: str) -> None:
            nonlocal done, current
            current = text
            bar.update(1 if done else 0)
            bar.render_progress()
            done += 1

        yield tell
        bar.update(count - bar.pos)
