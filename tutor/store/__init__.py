"""Where work is kept: the tables, the migrations between their shapes, and the connection to them."""
