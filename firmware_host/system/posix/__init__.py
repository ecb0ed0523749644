"""What Linux, macOS and their like do in their own way; `firmware_host.system` chooses it."""
