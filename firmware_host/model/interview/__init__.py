"""A new machine, motor or job described by answers: the questions, what they fill in, the file that is written."""
