"""The procedures of what the axis stands between: its controller with the home switch, and the marking side."""
