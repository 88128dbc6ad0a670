"""Video files: brightness of rows and times out of them, and the test clip into them. Needs the extra ``video``."""
