"""The blocks, one file each: declaration, kernel, class."""
