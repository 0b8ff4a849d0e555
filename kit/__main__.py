"""``python -m kit``: the same as the command ``fairpull``."""

from kit.cli import main

raise SystemExit(main())
