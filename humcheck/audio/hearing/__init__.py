"""What people hear: thresholds, auditory filters and masking, rooms, and ways of listening."""
