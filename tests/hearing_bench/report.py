"""The figures as lines of text."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from tests.hearing_bench.standing import UNKNOWN


def told(figures: Mapping[str, object]) -> Iterator[str]:
    """Every figure on a line, engine by engine; then curves, goals, and where another engine is better."""
    yield f"run: {figures.get('run')}"
    yield f"material: {figures.get('material')}"
    for engine in (figures, *_rows(figures, "others")):
        yield from _engine(engine)
    words = figures.get("single_words")
    if isinstance(words, Mapping) and words:
        yield "\n== single human words, the same share of other words passing"
        yield from _lines(words, "  ")
    korean = figures.get("korean")
    if isinstance(korean, Mapping) and korean:
        yield from _engine(korean)
    curves = figures.get("curves")
    if isinstance(curves, Mapping) and curves:
        yield from _curves(curves)
    yield from _goals(_rows(figures, "goals"))
    yield from _better(_rows(figures, "better_elsewhere"))


def _rows(figures: Mapping[str, object], key: str) -> Sequence[Mapping[str, object]]:
    found = figures.get(key)
    return found if isinstance(found, list) else ()


def _engine(engine: Mapping[str, object]) -> Iterator[str]:
    yield f"\n== {engine.get('engine')}"
    if engine.get("why"):
        yield f"{engine['why']}"
    for key in ("load_s", "memory_mb", "voices"):
        if key in engine:
            yield f"{key} {engine[key]}"
    conditions = engine.get("conditions")
    for name, found in conditions.items() if isinstance(conditions, Mapping) else ():
        yield f"\n{name}"
        yield from _lines(found, "  ")


def _lines(found: Mapping[str, object], indent: str) -> Iterator[str]:
    for key, value in found.items():
        if isinstance(value, Mapping) and "rate" in value:
            yield f"{indent}{key:24} {_rate(value)}"
        elif isinstance(value, Mapping) and "p50" in value:
            yield f"{indent}{key:24} {_spread(value)}"
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
            f"{found['rate']:.1f} an hour ({found['low']:.1f} to {found['high']:.1f}; "
            f"{found['k']} in {found['hours']:.2f} h)"
        )
    return f"{found['rate']:.1%} ({found['low']:.1%} to {found['high']:.1%}; {found['k']} of {found['n']})"


def _spread(found: Mapping[str, object]) -> str:
    if not found["n"]:
        return "none"
    shown = (f"{q} {found[q]} ({_ends(found[f'{q}_interval'])})" for q in ("p50", "p95", "p99"))
    return f"{', '.join(shown)}; n {found['n']}"


def _ends(interval: object) -> str:
    """An end that is not known is a question mark."""
    ends = interval if isinstance(interval, list) else [None, None]
    return " to ".join("?" if end is None else f"{end:.0f}" for end in ends)


def _curves(curves: Mapping[str, Mapping[str, object]]) -> Iterator[str]:
    yield "\n== what is missed against what is falsely accepted, as the threshold moves (points; 0 is ours)"
    for condition, classes in curves.items():
        for name, rows in classes.items():
            assert isinstance(rows, list)
            if rows:
                yield f"\n{condition}, {name.replace('_', ' ')}"
            for row in rows:
                figures = (f"{key} {_brief(value)}" for key, value in row.items() if key != "points")
                yield f"  {row['points']:+4.1f}  " + "  ".join(figures)


def _brief(found: Mapping[str, object]) -> str:
    if "hours" in found:
        return f"{found['rate']:.1f} (to {found['high']:.1f})"
    return f"{found['rate']:.1%} (to {found['high']:.1%})"


def _goals(rows: Sequence[Mapping[str, object]]) -> Iterator[str]:
    if not rows:
        return
    yield "\n== goals"
    for row in rows:
        if row["met"] == UNKNOWN:
            yield f"{UNKNOWN:24} {row['goal']}"
            continue
        part = str(row["condition"]) if "," not in str(row["condition"]) else "all together"
        sign = ">=" if row["least"] else "<="
        if row.get("unit") == "figures":
            yield f"{row['met']:24} {row['goal']}: {row['rate']}, goal none"
            continue
        n = f"{row['hours']:.2f} h" if "hours" in row else f"n {row['n']}" if "n" in row else "one figure"
        yield (
            f"{row['met']:24} {row['goal']}: {_value(row, 'rate')} ({_value(row, 'low')} to {_value(row, 'high')}; "
            f"{n}; {part}), goal {sign} {_value(row, 'bound')}"
        )


def _value(row: Mapping[str, object], key: str) -> str:
    """A share in percent; what is by the hour, in ms or a count as it is."""
    value, largest = row[key], row["rate"]
    if value is None:
        return "?"
    assert isinstance(value, (int, float))
    assert isinstance(largest, (int, float))
    return f"{value:.1f}" if "hours" in row or largest > 1 else f"{value:.1%}"


def _better(rows: Sequence[Mapping[str, object]]) -> Iterator[str]:
    yield "\n== where another engine is better (less is better, but for words that are right; the others never ask)"
    if not rows:
        yield "nowhere"
    for row in sorted(rows, key=lambda r: not r["misses_no_more"]):
        misses = row["misses"]
        there = f", which misses {misses:.0%} there" if isinstance(misses, float) else ""
        yield f"{row['row']}: ours {row['ours']:.4g}, {row['theirs']:.4g} by {row['engine']}{there}"
