"""Takes: which track a recording holds, how its clock runs against the track's, what is wrong with it, its sections."""
