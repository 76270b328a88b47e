"""Pictures of figures."""
