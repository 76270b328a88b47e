"""What is known of the notes in a pitch track at each sample: the rows that a note finder fills for its readers."""

NOTE = 0
"""MIDI note that sounds, -1 where none does."""

PITCH = 1
"""Its pitch as last sent, in semitones on the scale of MIDI notes; kept after the note."""

BREATH = 2
"""Its level as last sent, 0 ... 127; 0 where none sounds."""

ON_AGE_S = 3
"""0, or at the one sample at which a new note becomes known, the seconds (over 0) since it began."""

OFF_AGE_S = 4
"""0, or at the one sample at which a note's end becomes known, the seconds (over 0) since it ended."""

ATTACK_DB = 5
"""Highest level in the first `note_events.ATTACK_S` of the note, so far."""

SLURRED = 6
"""1 for a note that began by a change of pitch alone."""

SETTLED = 7
"""1 once the note's pitch has lain flat for as long as a new pitch must: before, it may be a scoop into the next."""

ROWS = 8
"""How many rows there are."""
