"""circumstep: motion planning for a home-built rotary axis that turns round parts under a marking laser.

The public API, and nothing else: its names stand in `__init__.pyi`. Each is looked up when it is first used, so that
`import firmware_host` is quick. A run is: `load_job`, `open_station`, and `run` of the station it gives.
"""

import lazy_loader

__getattr__, __dir__, __all__ = lazy_loader.attach_stub(__name__, __file__)
