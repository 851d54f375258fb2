"""Link graphs: which ring links which, and the groups and joins they are built from."""
