"""Constants of nature that the formulas use."""

from __future__ import annotations

STANDARD_GRAVITY = 9.80665
"""Standard gravity, m/s^2, exact by convention (3rd General Conference on Weights and Measures, 1901; CODATA)."""
