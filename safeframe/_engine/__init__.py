"""Frames by a recipe: what they are made of, how they are built, judged and followed."""
