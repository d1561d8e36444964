"""A whole run without devices, its sockets written down: `python -m tests.app.walks_here SOCKETS`.

Files, recogniser, voice, mixer, journal and loop are the real ones; what people
do is the walked household's.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from assistant.app.loop import Loop
from assistant.app.resume import about
from assistant.app.speech import open_speech
from assistant.clocks import wall_now
from assistant.files.places import runs_folder
from assistant.guard.absent import AbsentGuard
from assistant.journal.journal import FileJournal
from assistant.journal.patient import PatientJournal
from assistant.mouth.mixer import PromptMixer
from assistant.screens.none import NoScreen
from tests.app import sockets_seen
from tests.programs import program
from tests.walker import Walk

BLOCK = np.zeros(1600, np.float32)


def main() -> None:
    sockets_seen.watch(Path(sys.argv[1]))
    made = program()
    speech = open_speech(made)
    mixer = PromptMixer(speech.voice)
    file = FileJournal.begin(runs_folder() / "walked.jsonl", wall_now, {**about(made), "kind": "run"})
    journal = PatientJournal(file, wall_now)
    loop = Loop(made, speech.ears, mixer, journal, AbsentGuard(), NoScreen())
    loop.begin(0.0)
    for event in Walk(made).to_end().events[1:]:
        loop.turn(max(event.t, loop.t), BLOCK, mixer.pull(len(BLOCK)), mixer.marks(), devices=[event])
    journal.close()
    print(loop.state.outcome)


if __name__ == "__main__":
    main()
