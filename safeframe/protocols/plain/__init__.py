"""Plain data without a safety protocol: facts alone."""

__all__: list[str] = []
