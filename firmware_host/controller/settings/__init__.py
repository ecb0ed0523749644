"""The controller's stored settings: what they mean, writing them, backups."""
