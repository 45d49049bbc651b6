"""Relations and workings as trees: read, evaluated, solved, written, and proved to join like with like."""
