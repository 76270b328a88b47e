"""Which order: every arrangement of a chain's blocks that rules leave, and what sets them apart."""
