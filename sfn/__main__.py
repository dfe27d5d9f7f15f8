"""``python -m sfn``."""

import sys

from sfn.cli import main

sys.exit(main())
