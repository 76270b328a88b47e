"""The graph a sketch becomes, and the engine that streams a take through it."""
