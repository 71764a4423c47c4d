"""OPC UA Safety: everything that is peculiar to it."""
