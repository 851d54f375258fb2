"""Pictures, the interactive window and words for the terminal; siblings that do not import one another."""
