"""The figures as lines of text."""

from __future__ import annotations

from collections.abc import Iterator, Mapping


def told(figures: Mapping[str, object]) -> Iterator[str]:
    """Every figure on a line, engine by engine."""
    yield f"material: {figures['material']}"
    others = figures.get("others")
    assert isinstance(others, list)
    for engine in (figures, *others):
        yield f"\n== {engine['engine']}"
        for name, found in engine["conditions"].items():
            yield f"\n{name}"
            yield from _lines(found, "  ")
    words = figures.get("single_words")
    if isinstance(words, Mapping):
        yield "\n== single human words, the same share of other words passing"
        yield from _lines(words, "  ")


def _lines(found: Mapping[str, object], indent: str) -> Iterator[str]:
    for key, value in found.items():
        if isinstance(value, Mapping) and "rate" in value:
            yield f"{indent}{key:24} {_rate(value)}"
        elif isinstance(value, Mapping) and all(not isinstance(v, Mapping) for v in value.values()):
            yield f"{indent}{key:24} " + ", ".join(f"{k} {v}" for k, v in value.items())
        elif isinstance(value, Mapping):
            yield f"{indent}{key}"
            yield from _lines(value, indent + "  ")
        elif isinstance(value, list):
            yield f"{indent}{key:24} {'; '.join(map(str, value)) or 'none'}"
        else:
            yield f"{indent}{key:24} {value}"


def _rate(found: Mapping[str, object]) -> str:
    if "hours" in found:
        return (
            f"{found['rate']:.1f} an hour ({found['low']:.1f} to {found['high']:.1f}; {found['hours']:.2f} h)"
        )
    return f"{found['rate']:.1%} ({found['low']:.1%} to {found['high']:.1%}; {found['k']} of {found['n']})"
