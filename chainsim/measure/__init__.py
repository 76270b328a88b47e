"""Figures about sounds: loudness, peaks, decay, echo density, noise floor, spectrum."""
