"""A plan as a picture: zones as bars over the minutes, their limits and the rinse call.

`svg` for a file, `bars` for a terminal. Both show the same and neither decides
anything. Parts differ by height or pattern and in words, not by colour alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from html import escape

from rich.text import Text

from assistant.core.plan import Plan, ZonePlan
from assistant.screens.harmless import harmless

WIDTH, LEFT, RIGHT, TOP, ROW = 900, 130, 30, 96, 34
PARTS = {"": "cover", "lengths": "lengths", "scalp": "scalp area", "smooth": "smooth"}
FILLS = {"": "#1f5fa8", "lengths": "#1f5fa8", "scalp": "#8a4fa0", "smooth": "#2e7d4f"}
"""On white all above 4.5:1 (WCAG 2.2 AA)."""
HEIGHTS = {"": 20, "lengths": 20, "scalp": 14, "smooth": 8}
BLOCKS = {"": "█", "lengths": "█", "scalp": "▓", "smooth": "░"}
PLAIN = {"": "#", "lengths": "#", "scalp": "=", "smooth": "~"}


def shown_s(plan: Plan) -> float:
    """How many seconds the picture reaches: a little past everything in it."""
    return 1.04 * max(plan.limit, plan.done, max(z.due for z in plan.zones))


# -- SVG -----------------------------------------------------------------------------


def svg(plan: Plan, title: str) -> str:
    """The plan as an SVG document."""
    scale = (WIDTH - LEFT - RIGHT) / shown_s(plan)
    bottom = TOP + ROW * len(plan.zones)

    def x(seconds: float) -> float:
        return LEFT + seconds * scale

    answer = "fits" if plan.fits else "does not fit"
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {bottom + 70}" role="img" '
        'font-family="system-ui, sans-serif" font-size="14" fill="#111">',
        f"<title>{escape(harmless(title))}: {answer}, {percent(plan.chance)}</title>",
        f"<desc>{escape(described(plan))}</desc>",
        f'<rect width="{WIDTH}" height="{bottom + 70}" fill="#fff"/>',
        f'<text x="{LEFT}" y="30" font-size="20" font-weight="600">{escape(harmless(title))}</text>',
        f'<text x="{LEFT}" y="52">{answer}: {percent(plan.chance)} within every limit, '
        f"limit {plan.limit / 60:g} min, rinse call at {minutes(plan.rinse_call)}</text>",
        *_scale(plan, x, bottom),
    ]
    for row, zone in enumerate(plan.zones):
        lines += _zone(zone, x, TOP + row * ROW)
    call = x(plan.rinse_call)
    lines += [
        f'<path d="M{call:.1f} {TOP - 14} V{bottom + 4}" stroke="#b00020" stroke-width="2.5"/>',
        f'<text x="{call - 6:.1f}" y="{TOP - 18}" text-anchor="end" fill="#b00020">rinse call</text>',
        *_key(plan, bottom + 56),
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def described(plan: Plan) -> str:
    """The picture in words, for those who do not see it."""
    zones = "; ".join(
        f"{z.name} from {minutes(z.start)} to {minutes(z.end)}, limit {minutes(z.due)}" for z in plan.zones
    )
    last = f"rinse call at {minutes(plan.rinse_call)}; binding zone {harmless(plan.binding_zone)}."
    return f"{harmless(zones)}; {last}"


def minutes(seconds: float) -> str:
    """4:05, a minus before what lies before."""
    whole = int(abs(seconds) + 0.5)
    return f"{'-' if seconds < 0 and whole else ''}{whole // 60}:{whole % 60:02}"


def percent(chance: float) -> str:
    """Rounded down: 89.9 % is not 90 %."""
    return f"{int(chance * 100 + 1e-9)}%"


def _scale(plan: Plan, x: object, bottom: int) -> Iterator[str]:
    assert callable(x)
    step = next(s for s in (1, 2, 5, 10, 20, 60) if shown_s(plan) / 60 / s <= 16)
    for minute in range(0, int(shown_s(plan) // 60) + 1, step):
        at = x(minute * 60)
        yield f'<line x1="{at:.1f}" y1="{TOP - 8}" x2="{at:.1f}" y2="{bottom}" stroke="#ddd"/>'
        yield f'<text x="{at:.1f}" y="{bottom + 20}" text-anchor="middle">{minute}</text>'
    yield f'<text x="{LEFT - 10}" y="{bottom + 20}" text-anchor="end">min</text>'
    for warning in plan.warnings:
        at = x(warning)
        yield f'<path d="M{at - 5:.1f} {TOP - 14} h10 l-5 8 z" fill="#8a5a00"><title>warning</title></path>'


def _zone(zone: ZonePlan, x: object, y: int) -> Iterator[str]:
    assert callable(x)
    middle = y + ROW / 2
    yield f'<text x="{LEFT - 10}" y="{middle + 5}" text-anchor="end">{escape(harmless(zone.name))}</text>'
    for bar in zone.bars:
        start, end = x(bar.start), x(bar.end)
        yield (
            f'<rect x="{start:.1f}" y="{middle - HEIGHTS[bar.part] / 2}" width="{end - start:.1f}" height="{HEIGHTS[bar.part]}" rx="2" '
            f'fill="{FILLS[bar.part]}"><title>{escape(harmless(zone.name))}, {PARTS[bar.part]}: '
            f"{minutes(bar.start)} to {minutes(bar.end)}</title></rect>"
        )
    due = x(zone.due)
    yield (
        f'<line x1="{due:.1f}" y1="{y + 3}" x2="{due:.1f}" y2="{y + ROW - 3}" stroke="#111" stroke-width="3">'
        f"<title>limit of {escape(harmless(zone.name))}: {minutes(zone.due)}</title></line>"
    )


def _key(plan: Plan, y: int) -> Iterator[str]:
    at = LEFT
    for part in dict.fromkeys(bar.part for zone in plan.zones for bar in zone.bars):
        yield f'<rect x="{at}" y="{y - 5 - HEIGHTS[part] / 2}" width="14" height="{HEIGHTS[part]}" rx="2" fill="{FILLS[part]}"/>'
        yield f'<text x="{at + 20}" y="{y}">{PARTS[part]}</text>'
        at += 46 + 8 * len(PARTS[part])
    yield f'<line x1="{at + 6}" y1="{y - 12}" x2="{at + 6}" y2="{y + 2}" stroke="#111" stroke-width="3"/>'
    yield f'<text x="{at + 16}" y="{y}">the zone\'s limit</text>'
    yield f'<path d="M{at + 144} {y - 9} h10 l-5 8 z" fill="#8a5a00"/>'
    yield f'<text x="{at + 162}" y="{y}">warning</text>'


# -- terminal ------------------------------------------------------------------------


def bars(plan: Plan, width: int, *, unicode: bool) -> Iterator[Text]:
    """One line a zone, `width` columns at most, and under them the rinse call."""
    blocks, limit_mark, call_mark = (BLOCKS, "┃", "┆") if unicode else (PLAIN, "|", ":")
    names = max(len(z.name) for z in plan.zones) + 1
    columns = max(20, width - names - 1)
    scale = (columns - 1) / shown_s(plan)
    call = round(plan.rinse_call * scale)
    for zone in plan.zones:
        cells = [(" ", "none")] * columns
        cells[call] = (call_mark, "bold red")
        for bar in zone.bars:
            first = round(bar.start * scale)
            for column in range(first, max(first + 1, round(bar.end * scale))):
                late = column >= call
                cells[column] = (
                    blocks[bar.part],
                    "red" if late else "magenta" if bar.part == "smooth" else "cyan",
                )
        cells[min(columns - 1, round(zone.due * scale))] = (limit_mark, "bold")
        line = Text(f"{harmless(zone.name):>{names - 1}} ")
        for char, style in cells:
            line.append(char, style)
        line.rstrip()
        yield line
    label = f"rinse call {minutes(plan.rinse_call)}"
    yield Text(" " * names).append(f"{label + ' ^':>{call + 1}}", "bold red")
    parts = dict.fromkeys(bar.part for zone in plan.zones for bar in zone.bars)
    key = "  ".join(f"{blocks[part]} {PARTS[part]}" for part in parts)
    yield Text(" " * names).append(f"{key}  {limit_mark} the zone's limit", "dim")
