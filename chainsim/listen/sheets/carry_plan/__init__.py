"""The carry plan: which of the player's own boxes make a set, within what a board, a back and a purse allow."""
