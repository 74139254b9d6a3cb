"""Screens, builds, value, rank and reasons: from figures to a ranked shortlist."""
