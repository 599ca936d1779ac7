"""envpredict new."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("new")
@click.argument("folder", type=click.Path(path_type=Path))
def command(folder: Path) -> None:
    r"""Write a commented starter scenario into a new FOLDER.

    It is invented and lies in open sea; `predict` accepts it at once. Replace its files with your own.

    \b
    Example:
      envpredict new my_site
    """
    from envpredict.scenario.starter import write_starter

    write_starter(folder)
    click.echo(f"Wrote {folder}. Next: read {folder / 'scenario.toml'}, put in your layers, then\n"
               f"  envpredict check {folder}\n  envpredict predict {folder} --out {folder}_out")
