"""Ears and mouth for one program, opened and checked: the vocabulary, every prompt synthesised ahead.

Called by `run`, `rehearse` and `check`. Nothing after this needs the synthesiser.
"""
