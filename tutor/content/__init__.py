"""Lessons, exercises and the assets they draw on: reading and validating their files."""
