"""What people type as an answer, read and printed: numbers with units, sizes, choices, yes or no, letters."""
