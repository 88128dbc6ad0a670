"""``python -m humcheck``."""

import sys

from humcheck.cli import main

sys.exit(main())
