"""Rewrite the reference pages: `python -m envpredict.outputs.reference`."""

import click

from envpredict.outputs.reference import FOLDER, write

changed = write()
click.echo(f"{FOLDER}: " + (f"written: {', '.join(changed)}" if changed else "all pages are current"))
