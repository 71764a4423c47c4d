"""FSCP 2/1: everything that is peculiar to it."""
