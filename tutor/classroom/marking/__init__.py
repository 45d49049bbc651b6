"""Answers of a class marked, on screen and on paper, and marked again."""
