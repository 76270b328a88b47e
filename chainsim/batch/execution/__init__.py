"""Tasks at once: on threads of this machine, or on the workers of a cluster."""
