"""What comes into a catalogue from elsewhere, as text that the catalogue then reads."""
