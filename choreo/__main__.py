"""Run the command line with ``python -m choreo``."""

import sys

from choreo.cli import main

if __name__ == "__main__":
    sys.exit(main())
