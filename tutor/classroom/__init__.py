"""The class: practice sets, sheets, marking together, what a class misunderstands, exports."""
