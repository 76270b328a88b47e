"""The page on which sounds are compared by ear: one file, or a folder, that needs no network."""
