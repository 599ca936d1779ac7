"""The command line: one module per verb, found in this package; each opens its heavy packages only when it runs."""

from __future__ import annotations

import importlib
import os
import pkgutil
import signal
import sys
from typing import Any

import click

from envpredict.core.errors import EnvpredictError

DEBUG = "ENVPREDICT_DEBUG"
NOT_WRITTEN, OWN_FAULT = 3, 4
"""Exit codes: what was asked for isn't there, since it was interrupted; a fault of ours."""
ENDINGS = ("SIGTERM", "SIGHUP")
"""Signals that end a program at once; here they unwind it like Ctrl-C does, so that nothing half-written is left."""


def _catch_endings() -> None:
    """Let the signals that end a program raise KeyboardInterrupt, unless somebody else handles or ignores them."""
    for name in ENDINGS:
        number = getattr(signal, name, None)
        try:
            if number is not None and signal.getsignal(number) == signal.SIG_DFL:
                signal.signal(number, signal.default_int_handler)
        except ValueError:    # only the main thread of a program may set them
            return


class Verbs(click.Group):
    """The group of commands, with the one place where errors become messages and exit codes."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; an error that a user is meant to read ends it with its message and exit code."""
        _catch_endings()
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt:
            click.echo("Error: interrupted -> nothing half-written is left, an earlier result is untouched", err=True)
            sys.exit(NOT_WRITTEN)
        except EnvpredictError as error:
            click.echo(f"Error: {error}", err=True)
            sys.exit(error.exit_code)
        except BrokenPipeError:
            sys.exit(0)
        except (click.ClickException, click.exceptions.Exit, click.Abort):
            raise
        except Exception as error:
            if os.environ.get(DEBUG):
                raise
            click.echo(f"Error: a fault of envpredict itself, not of your input: {type(error).__name__}: {error} -> "
                       f"set {DEBUG}=1 to see where, and report it", err=True)
            sys.exit(OWN_FAULT)

    def add_command(self, cmd: click.Command, name: str | None = None) -> None:
        """Add a command; its examples keep their lines, and the list of commands shows its first sentence whole."""
        # the docstrings are raw, so click's mark for lines that aren't to be wrapped comes as two characters
        cmd.help = (cmd.help or "").replace("\\b\n", "\b\n")
        first, *_ = cmd.help.split("\n\n")
        cmd.short_help = cmd.short_help or " ".join(first.split()).partition(". ")[0].rstrip(".")
        super().add_command(cmd, name)


@click.group(cls=Verbs, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="envpredict", prog_name="envpredict", help="Show the version and exit.")
def main() -> None:
    """Predict vibration and noise from pile installation and judge them against published limits.

    A screening prediction: empirical laws with scatter. Local codes and a licensed engineer decide; a condition survey
    and trial piles with measurements come first.
    """


for _module in sorted(module.name for module in pkgutil.iter_modules(__path__)):
    if not _module.startswith("_"):
        main.add_command(importlib.import_module(f"{__name__}.{_module}").command)
