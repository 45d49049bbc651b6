"""The parts of the instructor's page, one for each of its tabs, and the way in."""
