"""The bench: what was measured on it, before any product is thought of."""
