"""What a prompt wants of the people who hear it, by the value of `Say.asks`.

The session sets it, the screen shows it, and a rehearsal's household acts on it
as people act on the words. The first phrase is the one that is taught.
"""

from __future__ import annotations

ASKS: dict[str, tuple[str, ...]] = {
    "confirm": ("next_step", "yes"),  # do what was said, then say so
    "tick": ("have_it", "missing"),  # slot item: is it there?
    "both": ("person_ready", "helper_ready"),  # each of the two answers for themselves
    "read_back": ("timer_says",),  # slot minutes: set your own timer, read its value back
    "mixed": ("smooth", "lumpy"),  # look at the cream in the bowl
    "strand": ("strand_straight", "strand_not_yet", "strand_bad"),  # look at the strand
    "cover": ("done_with",),  # slot zone: put cream on this zone
    "smooth_zone": ("done_with",),  # slot zone: smooth this zone
    "let_work": ("next_step",),  # stand by; say so when the strand is straight
    "any_burning": ("all_is_well",),
    "wiped": ("wiped_off",),  # wipe the cream off the skin
    "water": ("water_running",),  # the rinse call: go to the water
    "clear": ("runs_clear",),  # rinse until the water runs clear
    "flush": ("help_says_stop",),  # eye under water, call for help
    "colour": ("no_colour", "still_colour"),  # does the foam still show the indicator's colour?
    "yes_no": ("yes", "no"),
    "doubt": ("yes", "no"),  # slot phrase: "Did you say ...?"
    "carry_on": ("carry_on",),  # held or halted until told to go on
    "key": (),  # press any key, or the pedal, for yes
}
