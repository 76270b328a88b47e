"""The house sheet: what an engineer has to know of the feed."""
