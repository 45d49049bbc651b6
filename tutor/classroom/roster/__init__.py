"""Who is in a class, and how a learner takes a name of it."""
