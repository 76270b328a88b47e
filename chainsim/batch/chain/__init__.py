"""A chain measured by test signals."""
