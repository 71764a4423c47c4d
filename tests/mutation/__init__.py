"""Small faults put into the core, one at a time: tests that notice none of one are too few.

``python -m tests.mutation --lines FILE`` runs tests and notes which lines each of them reaches;
``python -m tests.mutation --sample 300`` then puts in a seeded sample of faults, runs for each the
tests that reach its line, and prints the score and what survived.
"""
