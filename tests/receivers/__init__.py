"""What the receivers of a recording would say, written a second time from the facts alone.

Nothing here imports the package. Frames are rebuilt with the second recipes of ``tests.second`` and
compared octet for octet, so a frame is right when the second recipe would have sent it.
"""
