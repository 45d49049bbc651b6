"""What is run by hand on the content: checks of exercises, the trial of recognition, schemas."""
