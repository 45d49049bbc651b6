"""Cold Morning: a tutor that teaches people to size a small off-grid solar power system before they buy it."""
