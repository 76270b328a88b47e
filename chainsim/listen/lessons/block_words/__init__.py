"""What each type of block does, in a player's words, its settings worked in."""
