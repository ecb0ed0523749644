"""Windows, as the package sees it through Python, on a system that is none.

`install()` makes every module of `firmware_host` that is imported afterwards see stand-ins for the modules in which
Python differs there (`os`, `signal`, `subprocess`, ...), and refuses those that don't exist there (`fcntl`, `termios`,
...). So `sys.platform == "win32"` holds in them, `system/` chooses its Windows half, and a call that Windows lacks
fails wherever it is made. Tests and other libraries keep the real system.

What each stand-in does otherwise than the real one is said, with its source, in its docstring; `tests/support/windows`
is tested by `tests/system/windows`. Not imitated: paths with backslashes and drives, rights lists, the registry, the
console's own window.
"""

from __future__ import annotations

import os
import signal
import sys

#: The variable by which a run of the tests, and every process that they start, is put on Windows.
SWITCH = "CIRCUMSTEP_TEST_SYSTEM"
#: What Ctrl-Break is on this system: a signal that ends a process without a handler, too.
BREAK_HERE = signal.SIGBREAK if sys.platform == "win32" else signal.SIGUSR1


def wanted() -> bool:
    """Whether whoever runs the tests asked for Windows."""
    return os.environ.get(SWITCH) == "windows"


def install() -> None:
    """Put on Windows what of the package is imported from here on, in this process and in those it starts."""
    from tests.support.windows import hook, paths

    hook.install()
    paths.install()
    os.environ[SWITCH] = "windows"
    before = [folder for folder in os.environ.get("PYTHONPATH", "").split(os.pathsep) if folder]
    if str(hook.SITE) not in before:
        os.environ["PYTHONPATH"] = os.pathsep.join([str(hook.SITE), *before])
