"""Figures: each a pure function of working units that gives a plotly figure, its sentence and its table."""
