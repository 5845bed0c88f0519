"""``python -m weaklink`` is the command ``weaklink``."""

import sys

from .cli import main

if __name__ == "__main__":
    sys.exit(main())
