"""Environment variables that are there for a while only."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def set_for_now(**values: str) -> Iterator[None]:
    """Inside, each of these variables has its value, but for one that is set already; after it all are as before."""
    added = [name for name in values if name not in os.environ]
    os.environ.update({name: values[name] for name in added})
    try:
        yield
    finally:
        for name in added:
            del os.environ[name]
