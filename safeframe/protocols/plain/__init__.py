"""Plain data without a safety protocol: facts alone."""
