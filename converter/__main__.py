"""``python -m converter`` runs the command line."""

from __future__ import annotations

import sys

from converter.cli.main import main

if __name__ == "__main__":
    sys.exit(main())
