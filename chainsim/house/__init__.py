"""What a listener hears: the bare horn and the loudspeaker in a venue, and a band."""
