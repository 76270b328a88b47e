"""Results of many renders: a folder that knows by content what is there, and tables of it."""
