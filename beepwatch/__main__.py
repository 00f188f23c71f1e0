"""`python -m beepwatch` is the command `beepwatch`."""

import sys

from beepwatch.cli import main

if __name__ == "__main__":
    sys.exit(main())
