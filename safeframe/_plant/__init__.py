"""The connections of a site, with devices and records."""
