"""Simulated boards of the dialect `status-query`."""
