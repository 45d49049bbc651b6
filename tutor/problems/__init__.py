"""From a declared exercise to a drawn problem and its worked solution."""
