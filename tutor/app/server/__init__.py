"""The server: how it starts, whom it lets in, what goes up and down beside the pages."""
