"""Many sounds of one take, made in one graph."""
