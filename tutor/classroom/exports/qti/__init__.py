"""Fixed variants of a set's problems as QTI 2.1 and 3.0 packages (1EdTech Question and Test Interoperability)."""
