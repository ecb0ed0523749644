"""Puts a process that a test has started on Windows as well: Python imports this file by itself when it starts."""

import importlib.util
import os
import sys
from pathlib import Path

if os.environ.get("CIRCUMSTEP_TEST_SYSTEM") == "windows":
    NAME = "tests.support.windows"
    # By its file and under its own name: the source tree is not put on the path of a process that has no need of it.
    room = Path(__file__).resolve().parent.parent
    spec = importlib.util.spec_from_file_location(NAME, room / "__init__.py", submodule_search_locations=[str(room)])
    module = importlib.util.module_from_spec(spec)
    sys.modules[NAME] = module
    spec.loader.exec_module(module)
    module.install()
    for stream in (sys.stdout, sys.stderr):
        if stream is not None:
            stream.reconfigure(newline="\r\n")  # as the text layer does there
