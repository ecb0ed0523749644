"""Deadlines for what is asked of a controller (s)."""

from __future__ import annotations

ANSWER_S = 2.0
"""The answer to a line that starts nothing."""
STORE_S = 5.0
"""The answer to a line that stores."""
STATUS_S = 1.0
"""A status report; it takes 4 ms."""
STATUS_LEAST_S = 0.05
"""A report asked for just before some other deadline is still waited for so long."""
ANSWER_LEAST_S = 0.004
"""No quicker are reports asked for one after the other: a real board's own time, so that none is flooded."""
ANSWER_MOST_S = 0.1
"""A report that usually takes longer is not asked for so long beforehand."""
POLL_S = 0.01
"""Pause between two reports that must agree."""
GREETING_S = 3.0
"""A greeting after opening or a reset: boards take 1 to 2 s. Common practice, no source."""
STANDSTILL_S = 10.0
"""Waiting for motion that is already under way to end."""
STOP_S = 10.0
"""Waiting for the axis to stand still after a stop."""
HOME_S = 180.0
"""Seeking the home switch."""
