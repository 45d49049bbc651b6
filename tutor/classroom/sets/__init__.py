"""Practice sets, what is handed out of them, and a learner's work on it."""
