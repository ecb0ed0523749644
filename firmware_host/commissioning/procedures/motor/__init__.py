"""The procedures that measure what the motor has to turn, and how warm that makes it."""
