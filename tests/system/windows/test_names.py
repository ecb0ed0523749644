"""What is missing on Windows, by the stubs of the standard library; and that the stand-ins lack just that."""

from __future__ import annotations

import ast
import importlib
from pathlib import Path
from types import SimpleNamespace

import mypy
import pytest

from tests.support.windows import hook
from tests.support.windows.names import MISSING, NO_MODULES

STUBS = Path(str(mypy.__file__)).parent / "typeshed" / "stdlib"


def holds(test: ast.expr, platform: str) -> bool:
    """Whether a condition of a stub holds on that system, in the newest Python that the stubs know."""
    version = SimpleNamespace(platform=platform, version_info=(3, 99))
    return bool(eval(ast.unparse(test), {"sys": version, "TYPE_CHECKING": True}))


def names_in(body: list[ast.stmt], platform: str) -> set[str]:
    names: set[str] = set()
    for node in body:
        match node:
            case ast.If(test=test, body=then, orelse=other):
                names |= names_in(then if holds(test, platform) else other, platform)
            case ast.FunctionDef(name=name) | ast.ClassDef(name=name) | ast.AnnAssign(target=ast.Name(id=name)):
                names.add(name)
            case ast.ImportFrom(names=aliases):
                names |= {alias.asname or alias.name for alias in aliases}
            case ast.Assign(targets=targets):
                names |= {target.id for target in targets if isinstance(target, ast.Name)}
            case _:
                pass
    return names


def stubbed(module: str, platform: str) -> set[str]:
    file = STUBS / f"{module}.pyi"
    file = file if file.exists() else STUBS / module / "__init__.pyi"
    return {name for name in names_in(ast.parse(file.read_text("utf-8")).body, platform) if name[0] != "_"}


@pytest.mark.parametrize("module", sorted(MISSING))
def test_a_stand_in_lacks_every_name_that_is_missing_on_windows_and_no_other(module: str) -> None:
    there, here = stubbed(module, "win32"), stubbed(module, "linux")
    real, stand_in = importlib.import_module(module), hook.module(module)
    assert {name for name in here - there if hasattr(stand_in, name)} == set()
    assert {name for name in there if hasattr(real, name) and not hasattr(stand_in, name)} <= {
        "fchmod",  # from Python 3.13 on
        "get_blocking",  # from Python 3.12 on, and for pipes only
        "set_blocking",
    }
    assert not {name for name in dir(stand_in) if MISSING[module].fullmatch(name)}


@pytest.mark.parametrize("module", sorted(NO_MODULES))
def test_a_module_that_windows_lacks_cannot_be_imported(module: str) -> None:
    with pytest.raises(ModuleNotFoundError, match=f"No module named '{module}' on Windows"):
        hook.importing(module)
