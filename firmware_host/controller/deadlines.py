"""How long what is asked of a controller may take (s)."""

from __future__ import annotations

ANSWER_S = 2.0
"""The answer to a line that starts nothing."""
STORE_S = 5.0
"""The answer to a line that stores."""
STATUS_S = 1.0
"""A status report; it takes 4 ms."""
STATUS_LEAST_S = 0.05
"""A report asked for just before some other deadline is still waited for so long."""
POLL_S = 0.01
"""Pause between two reports that must agree."""
GREETING_S = 3.0
"""A greeting after opening or a reset: boards take 1 to 2 s. Common practice, no source."""
STANDSTILL_S = 10.0
"""Motion that was not asked for, or that a hold ends, to come to a standstill."""
STOP_S = 10.0
"""A stop to be seen to have stopped the axis."""
HOME_S = 180.0
"""Seeking the home switch."""
