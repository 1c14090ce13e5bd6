"""`python -m kit`: the same as the command `kit`."""

from __future__ import annotations

from kit.cli import main

raise SystemExit(main())
