"""Reading the file of a true machine."""

from __future__ import annotations

from pathlib import Path

from firmware_host.folders import shipped_folder
from firmware_host.model.files.files import read_toml, validate
from firmware_host.simulator.true_machine.description import TrueMachine


def load_true_machine(reference: str | Path) -> TrueMachine:
    """Read a true machine from a file, or one of those that ship by its name. Raises `InputError`."""
    path = Path(reference)
    shipped = shipped_folder() / "true-machines" / f"{reference}.toml"
    if not path.exists() and path.name == str(reference) and shipped.is_file():
        path = shipped
    tables, text = read_toml(path)
    return validate(TrueMachine, tables, source=str(path), text=text)
