"""Dry synthetic horns with a known truth: source, bore, breath and player, and a few invented phrases."""
