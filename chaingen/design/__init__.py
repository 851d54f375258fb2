"""The design file: its schema, its loading with all problems at once, and starters."""
