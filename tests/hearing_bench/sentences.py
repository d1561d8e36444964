"""Sentences for the bench: made everyday talk, and sentences that sound like commands."""

from __future__ import annotations

import numpy as np

WHO = (
    "my sister",
    "the neighbour",
    "our teacher",
    "your cousin",
    "the plumber",
    "that woman",
    "my boss",
    "the dog",
)
DID = (
    "burned the toast", "stopped at the shop", "rinsed the rice", "left the door open", "carried on talking",
    "started a new job", "ran to the station", "lost the right key", "waited for a moment", "went back home",
    "finished the front page", "held on to the rope", "smoothed the paper", "cleared the table",
    "said it again and again", "asked how long it takes", "was ready at seven", "drank some water",
    "painted the crown of the statue", "cut the hair of the cat",
)  # fmt: skip
WHEN = (
    "this morning",
    "last week",
    "on Sunday",
    "at night",
    "yesterday",
    "in the rain",
    "after lunch",
    "again",
)
FIRST = ("you know", "I think", "well", "honestly", "so", "and then", "but", "I heard")
ASIDE = (
    "what is on the radio now", "is there more tea", "did you call your mother", "turn it up a little",
    "I do not mind at all", "that is a nice song", "we could go there in June", "my foot is asleep",
    "the light is rather bright", "who is at the door", "pass me the comb please", "it smells of lemon",
    "the next train is at nine", "nobody told me that", "yes but it was not mine", "no I have never been there",
    "wait until you hear this", "that stopped years ago", "her skin is so soft", "the sun burns in July",
    "it hurts to lose a game", "we have it in blue as well", "he has something in his hand",
    "all of it is well known", "I can breathe this mountain air", "time to go to bed",
)  # fmt: skip
ALIKE = (
    # one word or sound away from a command that moves the run on
    "next stop", "next steps are harder", "text Steph", "the next step is the hardest one", "no next steps yet",
    "done with black", "done with the clown", "done with tape", "done with the hair line cut", "done with the right bag",
    "gone with the wind", "dawn with the crown", "one with back pain", "done with all that", "done with work",
    "started raining", "started the car", "started a new book", "we started late",
    "leave out the garlic", "leave our front light on", "leave the back door",
    "go back home", "go pack one bag", "go back on Monday", "going back once more",
    "carry on luggage", "Carrie is on now", "carry one bag now",
    "water is wanting", "the water was running out", "what is running", "water is cold",
    "it runs in the family", "runs near the sea", "the water looks clear", "it turns clear",
    "it was a fire alarm", "a false friend", "it was a false start", "help says Stan",
    # and from one that stops
    "rinse cow", "since now", "prints now", "time to rest", "stop by later", "stock right now", "he burns wood",
    "my skin turns", "it turns", "it works", "in my eyes it is fine", "in my head", "swallowed gum", "it hurt her feelings",
)  # fmt: skip


def everyday(count: int) -> list[str]:
    """`count` sentences, the same every time; no whole sentence is a command."""
    rng = np.random.default_rng(11)

    def one(row: tuple[str, ...]) -> str:
        return row[int(rng.integers(len(row)))]

    made = []
    for _ in range(count):
        kind = rng.random()
        if kind < 0.3:
            made.append(one(ASIDE))
        elif kind < 0.6:
            made.append(f"{one(WHO)} {one(DID)} {one(WHEN)}")
        else:
            made.append(f"{one(FIRST)} {one(WHO)} {one(DID)}")
    return made
