"""Open safety profiles as data: legal sizes, frame parts, CRC recipes, limits, sources."""
