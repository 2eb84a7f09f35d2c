"""What stands between a node and whoever calls it."""
