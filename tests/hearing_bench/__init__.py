"""How well combside hears, beside other recognisers: `python -m tests.hearing_bench --help`."""
