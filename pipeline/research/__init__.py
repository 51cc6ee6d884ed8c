"""What a researcher asks: the library, sensitivity, kept models managed, a run made again."""
