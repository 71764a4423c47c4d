"""Turning results into text and other formats; nothing is computed here."""
