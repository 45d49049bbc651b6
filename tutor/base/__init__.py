"""What all of the tutor rests on: units, intervals, text, files, errors."""
