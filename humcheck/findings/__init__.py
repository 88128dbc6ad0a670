"""What the numbers mean, in plain sentences with their evidence."""
