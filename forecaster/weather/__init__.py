"""Station records and outlooks: reading, quality, gaps, and the air at a site."""
