"""The end of a rehearsal as a person reads it: exposure, the rinse call, what was heard."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, TextIO

from rich.console import Console
from rich.table import Table


def clock(seconds: float | None) -> str:
    """Minutes and seconds, as on a kitchen timer."""
    return "-" if seconds is None else f"{int(seconds) // 60}:{int(seconds) % 60:02d}"


def show(result: Mapping[str, Any], stream: TextIO) -> None:
    """Print what was measured."""
    out = Console(file=stream, highlight=False, markup=False)
    zones = Table(title=f"Exposure against the limit of {clock(result['limit_s'])} min", title_justify="left")
    for column in ("zone", "first cream", "water", "clear", "counted", "limit", ""):
        zones.add_column(column, justify="left" if column == "zone" else "right")
    for name, z in result["exposure"].items():
        over = name in result["over_limit_zones"]
        zones.add_row(
            name, clock(z["first_touch"]), clock(z["water"]), clock(z["clear"]), clock(z["counted_s"]),
            clock(z["limit_s"]), "OVER" if over else "within",
        )  # fmt: skip
    out.print(zones)
    out.print(result["limit_reason"])
    for call in result["rinse_calls"]:
        out.print(
            f"Rinse call due {clock(call['due'])}, sounded {clock(call['sounded'])}, "
            f"acknowledged {clock(call['acknowledged'])}: {'LATE' if call['late'] else 'in time'}"
        )
    p = result["phrases"]
    out.print(
        f"Phrases spoken {p['spoken']}: obeyed {p['obeyed']}, asked again {p['asked_again']}, missed {p['missed']}. "
        f"False accepts {result['false_accepts']}, own voice {result['self_triggers']}. Keys pressed {result['keys']}."
    )
    for row in result["phrases_not_obeyed"][:12]:
        out.print(f"  {clock(row['t'])} {row['who']}: {row['text']!r} {row['fate']} ({row['heard']})")
    for wrong in result["false_accept_list"][:6]:
        out.print(f"  {clock(wrong['t'])} heard {wrong['phrase']!r}, which nobody said")
    gap = result["reply_gap_ms"]
    out.print(
        f"Reply after the end of a phrase: p50 {gap['p50']} ms, p95 {gap['p95']} ms. Engine: {result['engine']}."
    )
    out.print(
        f"{'Finished' if result['finished'] else 'Not finished: ' + (result['outcome'] or 'it never ended')}: "
        f"{clock(result['virtual_s'])} min in {result['wall_s']} s, {result['times_real_time']} times real time."
    )
