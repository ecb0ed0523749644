"""Reading the file of a true machine."""

from __future__ import annotations

from pathlib import Path

from firmware_host.model.files.files import read_toml, validate
from firmware_host.model.files.profiles import find_profile
from firmware_host.simulator.true_machine.description import TrueMachine


def load_true_machine(reference: str | Path) -> TrueMachine:
    """Read a true machine: a file, or a profile by its name. Raises `InputError`."""
    path = find_profile("true-machines", str(reference))
    tables, text = read_toml(path)
    return validate(TrueMachine, tables, source=str(path), text=text)
