"""What is drawn: plots and wiring diagrams, in the colours of screen and paper."""
