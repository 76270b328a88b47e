"""What the user writes: the model of a sketch file and how it is loaded."""
