"""A box measured from a dry recording and the wet one that went through it: the parts."""
