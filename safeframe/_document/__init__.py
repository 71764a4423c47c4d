"""Files: read strictly, replaced whole or not at all."""
