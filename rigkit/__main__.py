"""`python -m rigkit` is the command `rigkit`."""

import sys

from rigkit.cli import main

sys.exit(main())
