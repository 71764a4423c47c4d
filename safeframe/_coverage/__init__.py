"""What recordings of a test campaign have exercised, of all that the maps of both ends offer."""
