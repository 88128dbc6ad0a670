"""Takes set against each other: repeats, changes, added parts, with intervals."""
