"""Checking a learner's own lines of working: read, understood, and judged to the first one that departs."""
