"""Kernels and small parts that several blocks share."""
