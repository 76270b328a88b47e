"""Takes rendered into files."""
