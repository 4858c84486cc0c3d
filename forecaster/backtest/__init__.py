"""Past seasons replayed with only what was known on each as-of day: scores and money."""
