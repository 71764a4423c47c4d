"""A campaign of random connections with random mistakes, judged by a model of its own.

Nothing in ``tiny``, ``generate``, ``mutate`` and ``oracle`` imports the package: what they say
about two maps is worked out a second time, from places and meanings alone. ``run`` alone calls it.
"""
