"""Run the command as ``python -m companion``."""

from companion.cli import main

raise SystemExit(main())
