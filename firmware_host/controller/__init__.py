"""The wire: ports, dialects, the sender and the controller's stored settings. Knows nothing of segments."""
