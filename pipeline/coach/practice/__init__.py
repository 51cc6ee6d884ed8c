"""What speed practice without a ball did for golfers."""
