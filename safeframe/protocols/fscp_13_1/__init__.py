"""FSCP 13/1: everything that is peculiar to it."""
