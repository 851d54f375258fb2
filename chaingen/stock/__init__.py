"""Tables with their sources: wire gauges and metals."""
