"""A run on the devices that the environment names, for test_devices: `python -m tests.app.run_here JOURNAL`."""

from __future__ import annotations

import sys
from pathlib import Path

from assistant.app.run import Devices, run
from assistant.app.speech import open_speech
from assistant.ears.keys import Keys
from assistant.ears.microphone import Microphone
from assistant.screens.terminal import TerminalScreen
from tests.programs import program


def main() -> None:
    made = program()
    speech = open_speech(made)
    with TerminalScreen(sys.stdout) as screen, Keys(None) as keys:
        devices = Devices(
            speech.ears, speech.voice, screen, keys, Microphone("pulse"), Path(sys.argv[1]), "pulse"
        )
        print("outcome:", run(made, devices), flush=True)


if __name__ == "__main__":
    main()
