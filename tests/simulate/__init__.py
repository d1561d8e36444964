"""Whole runs without sound, in virtual time: random homes, random faults, every rule checked after every event.

`python -m tests.simulate` runs many and counts; `python -m tests.simulate.explore`
walks every kind of state the shipped routines can be in; `python -m
tests.simulate.fuzz` reads damaged files. The session, the loop, the hearing
decision, who interrupts whom and the people are the real ones; microphone,
speaker, disk, guard and clock are models (`machine`), drawn in `trial`.
"""
