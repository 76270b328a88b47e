"""Lessons: pages that walk a player through a chain, every claim computed from what is heard."""
