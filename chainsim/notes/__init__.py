"""Notes: found in a pitch track, written to and read from MIDI files, and how well they were in tune."""
