"""What leaves the class for other programs: gradebook, OneRoster, QTI, xAPI, and all that is kept about one person."""
