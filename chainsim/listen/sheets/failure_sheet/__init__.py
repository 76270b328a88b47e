"""The if-it-fails sheet: what is left when one box is gone, and what to do."""
