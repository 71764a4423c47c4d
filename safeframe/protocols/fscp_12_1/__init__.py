"""FSCP 12/1: everything that is peculiar to it."""
