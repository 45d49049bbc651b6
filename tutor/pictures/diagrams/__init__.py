"""Wiring diagrams drawn from a problem's own numbers, as SVG with the same said in words."""
