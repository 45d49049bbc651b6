"""What a learner has done, and what follows from it."""
