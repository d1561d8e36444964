"""`combside consult --voice`: the devices for it. Imported only when it is asked for."""

from __future__ import annotations

import argparse

from assistant.app import consult as app
from assistant.app import interview_by_voice
from assistant.app.interview_by_voice import VoiceInterview, grammars, sentences
from assistant.app.sound_room import DeviceGone, RealRoom
from assistant.app.speech import voices_of
from assistant.cli.asking import Stopped, Terminal
from assistant.cli.progress import Progress
from assistant.cli.typed_lines import TypedLines
from assistant.core.answers import in_words
from assistant.core.interview import Interview
from assistant.ears.choose import GET_VOSK, open_ears
from assistant.files.complaint import BadFile, Complaint
from assistant.files.household_file import find_household
from assistant.files.places import cache_folder
from assistant.mouth.prompts import VOICES, Prompts

FEW = 4
"""So few prompts are made in a moment; nobody needs to be told."""


def asked(interview: Interview, terminal: Terminal, chosen: argparse.Namespace) -> bool:
    """Ask aloud to the end. False where a device is not there or went away; what was answered stays.

    Raises Stopped, VoiceError, VocabularyError and BadFile.
    """
    save = not chosen.no_save
    if interview.kit.example:
        terminal.say("THIS IS THE INVENTED EXAMPLE KIT. It clears nobody for a kit of their own.")
    draft = app.draft_of(interview)
    if draft is not None and (kept := app.take_up(interview, draft)):
        terminal.say(f"Going on from {in_words(draft.asked_on)}: {kept} answers were kept.")
    try:
        ears = open_ears(chosen.vosk_model, cache=cache_folder())
    except (ValueError, FileNotFoundError) as error:
        raise BadFile([Complaint("recogniser", 0, 0, str(error), GET_VOSK)]) from error
    household = find_household()
    voices = VOICES if household is None else voices_of(household)
    making = Progress("making prompts")
    voice = Prompts(
        cache_folder() / "prompts", voices, tell=lambda done, of: making(done, of) if of > FEW else None
    )
    voice.prepare(sentences(interview))
    learn = Progress("learning what may be answered, once on this machine")
    every = grammars(interview.form, interview.today)
    for done, grammar in enumerate(every):
        learn(done, len(every))
        ears.allow([p for p in grammar if not ears.unknown_words(p.text.split())])
    learn(len(every), len(every))

    def keep() -> None:
        if save:
            app.keep(interview, draft=True)

    try:
        with RealRoom(chosen.microphone, chosen.speaker) as room:
            typed = TypedLines(terminal)
            terminal.lines = typed  # whatever is asked by keys afterwards comes the same way
            VoiceInterview(interview, room, ears, voice, typed, keep=keep).run()
    except interview_by_voice.Stopped:
        raise Stopped from None
    except DeviceGone as gone:
        terminal.say(f"The {gone.device} does not work: {gone.why}. On with keys.")
        return False
    return True
