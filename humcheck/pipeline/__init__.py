"""From files to results: measure a take, compare takes, run the demo."""
