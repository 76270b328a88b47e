"""The wiring sheet: boxes and cables, in the order of plugging."""
