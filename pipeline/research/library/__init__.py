"""What `import pipeline` offers a researcher: a study's results, its model, and flight, for sessions of one's own."""
