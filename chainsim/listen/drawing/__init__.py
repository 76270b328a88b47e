"""The signal flow, drawn."""
