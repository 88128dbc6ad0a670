"""One quantity a file: estimates in, rows out, or a reason why not."""
