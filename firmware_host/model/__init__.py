"""What the user describes: frozen models of machine, motor, gearing, drive, part, mark and job."""
