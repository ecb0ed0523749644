"""What Windows does in its own way; `firmware_host.system` chooses it."""
