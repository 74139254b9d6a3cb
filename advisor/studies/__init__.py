"""The studies: one module a verb, each from a catalogue and a product to a frozen result."""
