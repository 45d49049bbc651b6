"""Printed sheets: what stands on paper for each learner, the answer key, and both as PDF and as an accessible page."""
