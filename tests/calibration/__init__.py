"""Is a chance of 90 % a chance of 90 %? Simulated households, from the model and from outside it.

`households` lives them through in plain Python, apart from the code that plans;
`measure` plans for each at the limit where its plan says 90 % and counts who
stays within every limit. `python -m tests.calibration --json F` does it in full.
"""
