"""envpredict list."""

from __future__ import annotations

import click

from envpredict.cli._tables import KINDS


@click.command("list")
@click.argument("kind", type=click.Choice(sorted(KINDS)))
@click.argument("name", required=False)
@click.option("--country", help="Only limit sets of this country (two letters, or INT).")
@click.option("--quantity", help="Only limit sets or models of this quantity, e.g. laeq_db.")
@click.option("--use", help="Only limit sets that govern this use of a receptor, e.g. dwelling.")
def command(kind: str, name: str | None, country: str | None, quantity: str | None, use: str | None) -> None:
    r"""List what is shipped, with source and basis: models, methods, plant or limits. With a NAME, show one whole.

    \b
    Example:
      envpredict list limits --country DE
      envpredict list methods press_in_auger
    """
    from envpredict.cli import _tables

    show = getattr(_tables, KINDS[kind])
    filters = {"country": country, "quantity": quantity, "use": use}
    click.echo(show(name, {key: value for key, value in filters.items() if value}))
