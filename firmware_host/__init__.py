"""circumstep: motion planning for a home-built rotary axis that turns round parts under a marking laser.

The public API, and nothing else: its names stand in `__init__.pyi`. Each is looked up when it is first used, so that
`import firmware_host` is quick. A run is: `load_job`, `open_station`, and `run` of the station it gives.
"""

import sys

import lazy_loader

_look_up, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)


def __getattr__(name):  # type: ignore[no-untyped-def]
    """The public name; where IPython is there already, a notebook learns how plans, limits and records look."""
    value = _look_up(name)
    if "IPython" in sys.modules:
        from firmware_host.reporting.report.notebook_types import join_notebook  # by name only: no library is loaded

        join_notebook()
    return value
