"""Print and casting preparation: from a placed piece to what a service is sent."""
