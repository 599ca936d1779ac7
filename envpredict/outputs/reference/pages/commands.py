"""What the program prints when a command is asked for its `--help`.

Exit codes: 0 done; 1 a check that was asked for failed; 2 the input has problems, all of which are printed; 3 the
output could not be written.
"""

from __future__ import annotations

import click

from envpredict.outputs.reference import command_group
from envpredict.outputs.reference.markdown import sections

TITLE = "Commands"
WIDTH = 100


def _context(command: click.Command, name: str, parent: click.Context | None = None) -> click.Context:
    settings = {**command.context_settings, "terminal_width": WIDTH, "max_content_width": WIDTH}
    return click.Context(command, info_name=name, parent=parent, **settings)


def _help(context: click.Context) -> str:
    lines = (line.rstrip() for line in context.get_help().splitlines())
    return "```text\n" + "\n".join(lines) + "\n```"


def body() -> str:
    """Return the help of the group and of each of its commands."""
    group = command_group()
    context = _context(group, "envpredict")
    found = [(name, group.get_command(context, name)) for name in group.list_commands(context)]
    parts = [_help(context)]
    for name, command in found:
        if command is not None:
            parts += [f"## envpredict {name}", _help(_context(command, name, context))]
    return sections(parts)
