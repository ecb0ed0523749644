"""The command line with every command's file imported."""

from __future__ import annotations

from typer.main import get_group

from firmware_host.cli.commands import Commands
from firmware_host.cli.main import app


def every_command() -> Commands:
    """The group of all commands, loaded."""
    group = get_group(app)
    assert isinstance(group, Commands)
    for name in list(group.commands):
        group.load(name)
    return group
