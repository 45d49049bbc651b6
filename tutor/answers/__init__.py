"""What people type as an answer: reading it, marking it, naming the mistake."""
