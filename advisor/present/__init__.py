"""Results as text, JSON and CSV: no arithmetic beyond formatting."""
