"""What a distance takes: the speed it needs, the share of delivery, and whether speed or delivery comes first."""
