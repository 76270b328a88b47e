"""Every sketch, every patch and every value over every take."""
