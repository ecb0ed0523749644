"""A motion controller in software: it moves in virtual or scaled time and is reached like a real one."""
