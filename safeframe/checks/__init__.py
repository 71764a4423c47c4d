"""Rules that judge maps: one rule, one generator function."""
