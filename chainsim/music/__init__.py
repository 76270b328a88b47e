"""Musical spellings: pitches, intervals, note values, keys, and the horns that transpose them."""
