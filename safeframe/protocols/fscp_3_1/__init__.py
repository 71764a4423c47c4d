"""FSCP 3/1: everything that is peculiar to it."""
