"""The lessons of ours, one a file."""
