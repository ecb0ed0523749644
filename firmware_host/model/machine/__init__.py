"""The machine: motor, driver, gearing, drive, axis, link."""
