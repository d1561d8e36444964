"""`python -m assistant.cli` is `combside`."""

from assistant.cli.main import main

raise SystemExit(main())
