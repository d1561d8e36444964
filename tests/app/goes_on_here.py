"""`combside run` with its sockets written down: `python -m tests.app.goes_on_here SOCKETS ARGUMENT ...`."""

from __future__ import annotations

import sys
from pathlib import Path

from assistant.cli.main import main
from tests.app import sockets_seen

if __name__ == "__main__":
    sockets_seen.watch(Path(sys.argv[1]))
    sys.exit(main(sys.argv[2:]))
