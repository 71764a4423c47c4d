"""Spoilt input for every reader, guided by the lines it reaches.

``python -m tests.fuzz READER --runs 1000000`` runs long; the tests run a short piece of the same.
The property: a reader answers, or raises one of the errors that a user is told about; within
bounds of time and memory. A kept input is one that reached a line nobody reached before.
"""
