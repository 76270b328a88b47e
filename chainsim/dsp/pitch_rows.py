"""What is known of a played pitch at each sample: the rows that a pitch track, a MIDI part and their readers share.

The rows are held from one estimate to the next, so that the value at sample n is the newest whose samples had all
arrived by n.
"""

F0_HZ = 0
"""Best guess of the fundamental, also where `VOICED` is 0; 0 only where there has been none yet."""

VOICED = 1
"""1 while a note sounds and its pitch is known, 0 in rests and where it is unsure."""

CONFIDENCE = 2
"""0 to 1: how probable it is that the guess is right."""

LEVEL_DB = 3
"""Level of the newest window: rms, dB relative to full scale, at least -120; a full-scale sine reads -3.01."""

ONSET_AGE_S = 4
"""0, or at the one sample at which a new attack becomes known, the seconds (over 0) since the attack began."""

ROWS = ("f0_hz", "voiced", "confidence", "level_db", "onset_age_s")
"""Names of the rows, in order."""

SILENT_DB = -120.0
"""The lowest level."""
