"""Pages to print: what a player takes to the stage."""
