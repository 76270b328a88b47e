"""Audio files: takes are read in spans, renders are written whole or not at all."""
