"""What comes from a stream, read by a thread, so that whoever asks for it never waits."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable

_MOST_PIECES = 16
_EMPTY_READS = 3
"""So many reads in a row without a byte are the end: at the console of Windows, Ctrl-C ends one and nothing more."""


class ThreadReader:
    """Reads pieces by `read`, which may wait, and keeps a few of them; the rest waits in the stream.

    The thread is started by the first question and ends with the stream, or with the program.
    """

    def __init__(self, read: Callable[[], bytes]) -> None:
        self._read = read
        self._pieces: queue.Queue[bytes | OSError] = queue.Queue(_MOST_PIECES)
        self._thread: threading.Thread | None = None

    def take(self, wait_s: float = 0.0) -> bytes | None:
        """What came next; None if nothing did within `wait_s` (s), no bytes at the end. Raises `OSError`."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._work, name="keyboard", daemon=True)
            self._thread.start()
        try:
            piece = self._pieces.get(timeout=wait_s) if wait_s else self._pieces.get_nowait()
        except queue.Empty:
            return None
        if isinstance(piece, OSError):
            raise piece
        return piece

    def _work(self) -> None:
        empty = 0
        try:
            while empty < _EMPTY_READS:
                piece = self._read()
                empty = 0 if piece else empty + 1
                if piece:
                    self._pieces.put(piece)
            self._pieces.put(b"")
        except OSError as error:
            self._pieces.put(error)
        except ValueError:  # the stream was closed meanwhile
            self._pieces.put(b"")
