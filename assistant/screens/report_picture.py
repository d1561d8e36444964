"""A finished run as a picture: zones as bars with their limits, calls, warnings, phrases heard.

SVG as text, for the report. It decides nothing. Parts differ by height, pattern
and place as well as by colour, and every mark has its words.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from html import escape

from assistant.core.diary import RunRecord, ZoneExposure
from assistant.core.moments import Kind, Moment
from assistant.screens.harmless import harmless
from assistant.screens.plan_picture import minutes

WIDTH, LEFT, RIGHT, ROW, LANE = 960, 150, 150, 38, 30
INK, GRID, PAPER = "#111111", "#c8c8c8", "#ffffff"
COVER, WORKS, RINSE, STOP, CARE = "#0b4a86", "#5c3d00", "#14532d", "#8f0018", "#5c3d00"
"""Each on white above 7:1 (WCAG 2.2 AAA for text, 3:1 would do for graphics); a test computes it."""
PAST_S = 60.0
"""The picture goes on for this much after the last thing in it."""

Place = Callable[[float], float]


def svg(record: RunRecord, moments: Sequence[Moment] = ()) -> str:
    """The run as an SVG element for a page; nothing where no cream was on."""
    if not record.zones:
        return ""
    end = shown_s(record)
    scale = (WIDTH - LEFT - RIGHT) / end
    seen = [m for m in moments if 0 <= m.t_s <= end]
    lanes = lanes_of(record, seen)
    top = 34 + LANE * len(lanes)
    bottom = top + ROW * len(record.zones)

    def x(seconds: float) -> float:
        return LEFT + seconds * scale

    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {bottom + 96}" role="img" '
        'aria-labelledby="picture-title picture-words" font-family="system-ui, sans-serif" font-size="14" '
        f'fill="{INK}">',
        f'<title id="picture-title">{_text(title(record))}</title>',
        f'<desc id="picture-words">{_text(described(record, seen))}</desc>',
        '<defs><pattern id="works" width="7" height="7" patternUnits="userSpaceOnUse" '
        f'patternTransform="rotate(45)"><rect width="7" height="7" fill="{PAPER}"/>'
        f'<rect width="3" height="7" fill="{WORKS}"/></pattern></defs>',
        f'<rect width="{WIDTH}" height="{bottom + 96}" fill="{PAPER}"/>',
        *_scale(end, x, top, bottom),
    ]
    for row, zone in enumerate(record.zones):
        lines += _zone(record, zone, x, top + row * ROW, end)
    for row, (name, marks) in enumerate(lanes):
        y = 34 + row * LANE + LANE / 2
        lines.append(f'<text x="{LEFT - 12}" y="{y + 5:.1f}" text-anchor="end">{name}</text>')
        lines += [_mark(m, x(m.t_s), y) for m in marks]
    lines += _calls(record, x, bottom)
    lines += [*_key(record, lanes, bottom + 48), "</svg>"]
    return "\n".join(lines)


def shown_s(record: RunRecord) -> float:
    """How many seconds the picture reaches: a little past the last cream, the limits and the calls."""
    ends = [
        z.clear_s if z.clear_s is not None else z.wet_s if z.wet_s is not None else 0.0 for z in record.zones
    ]
    calls = [c.acknowledged_s if c.acknowledged_s is not None else c.sounded_s for c in record.calls]
    return PAST_S + max(
        *ends, *calls, *(record.due_s(z) for z in record.zones), *(z.last_s for z in record.zones)
    )


def lanes_of(record: RunRecord, moments: Sequence[Moment]) -> list[tuple[str, list[Moment]]]:
    """Rows of marks above the zones; a row without marks is left out."""
    harm = [
        Moment(i.cream_s, Kind.WARNING, f"{i.what}, {i.where}")
        for i in record.incidents
        if i.cream_s is not None
    ]
    lanes = [
        ("harm reported", harm),
        ("said to you", [m for m in moments if m.kind in (Kind.TIME, Kind.CAUTION, Kind.WARNING)]),
        ("heard from you", [m for m in moments if m.kind in (Kind.HEARD, Kind.ASKED, Kind.KEY)]),
        ("devices", [m for m in moments if m.kind in (Kind.LOST, Kind.BACK)]),
    ]
    return [(name, marks) for name, marks in lanes if marks]


def title(record: RunRecord) -> str:
    over = record.over_limit()
    told = f"over the limit or unknown: {', '.join(over)}" if over else "every zone within its limit"
    return f"Cream on {len(record.zones)} zones over time, {told}"


def described(record: RunRecord, moments: Sequence[Moment]) -> str:
    """The picture in words, for those who do not see it."""
    zones = "; ".join(
        f"{z.zone} first cream {minutes(z.first_s)}, "
        f"water {'not seen' if z.wet_s is None else minutes(z.wet_s)}, "
        f"clear {'not seen' if z.clear_s is None else minutes(z.clear_s)}, limit {minutes(record.due_s(z))}"
        for z in record.zones
    )
    calls = "; ".join(f"rinse call at {minutes(c.sounded_s)}" for c in record.calls) or "no rinse call"
    heard = sum(m.kind is Kind.HEARD for m in moments)
    return f"Minutes and seconds after the first cream. {zones}; {calls}; {heard} phrases heard. The tables below say the same."


def _text(words: str) -> str:
    return escape(harmless(words))


def _scale(end: float, x: Place, top: int, bottom: int) -> Iterator[str]:
    step = next((s for s in (1, 2, 5, 10, 20, 60) if end / 60 / s <= 16), 240)
    for minute in range(0, int(end // 60) + 1, step):
        at = x(minute * 60)
        yield f'<line x1="{at:.1f}" y1="26" x2="{at:.1f}" y2="{bottom}" stroke="{GRID}"/>'
        yield f'<text x="{at:.1f}" y="{bottom + 20}" text-anchor="middle">{minute}</text>'
    yield f'<text x="{LEFT - 12}" y="{bottom + 20}" text-anchor="end">minutes</text>'


def _zone(record: RunRecord, zone: ZoneExposure, x: Place, y: int, end: float) -> Iterator[str]:
    middle = y + ROW / 2
    name = _text(zone.zone)
    yield f'<text x="{LEFT - 12}" y="{middle + 5:.1f}" text-anchor="end">{name}</text>'
    wet = zone.wet_s if zone.wet_s is not None else end
    parts = [("put on and smoothed", zone.first_s, max(zone.last_s, zone.first_s), 22, COVER)]
    parts.append(("cream works", max(zone.last_s, zone.first_s), wet, 22, "url(#works)"))
    if zone.wet_s is not None and zone.clear_s is not None:
        parts.append(("rinsed", zone.wet_s, zone.clear_s, 10, RINSE))
    for words, start, stop, height, fill in parts:
        if stop > start:
            outline = f' stroke="{WORKS}"' if fill.startswith("url") else ""
            yield (
                f'<rect x="{x(start):.1f}" y="{middle - height / 2:.1f}" width="{x(stop) - x(start):.1f}" '
                f'height="{height}" fill="{fill}"{outline}><title>{name}, {words}: {minutes(start)} to {minutes(stop)}'
                "</title></rect>"
            )
    due = record.due_s(zone)
    counted = record.exposure_s(zone)
    yield (
        f'<line x1="{x(due):.1f}" y1="{y + 3}" x2="{x(due):.1f}" y2="{y + ROW - 3}" stroke="{INK}" '
        f'stroke-width="4"><title>limit of {name}: {minutes(due)}</title></line>'
    )
    over = counted is None or counted > record.limit_s
    if over:
        ends = record.limit_s if counted is None else counted
        yield (
            f'<rect x="{x(due):.1f}" y="{middle - 15:.1f}" width="{max(6.0, x(due + ends - record.limit_s) - x(due)):.1f}" '
            f'height="30" fill="none" stroke="{STOP}" stroke-width="3"><title>{name}: over the limit</title></rect>'
        )
    words = "end not seen" if counted is None else f"{minutes(counted)} of {minutes(record.limit_s)}"
    style = f' font-weight="700" fill="{STOP}"' if over else ""
    yield f'<text x="{WIDTH - RIGHT + 10}" y="{middle + 5:.1f}"{style}>{words}{" OVER" if over else ""}</text>'


def _mark(moment: Moment, at: float, y: float) -> str:
    told = f"<title>{minutes(moment.t_s)} {_text(moment.kind.value)}: {_text(moment.words)}</title>"
    if moment.kind is Kind.HEARD:
        return f'<rect x="{at - 1.5:.1f}" y="{y - 9:.1f}" width="3" height="18" fill="{COVER}">{told}</rect>'
    if moment.kind is Kind.ASKED:
        return f'<circle cx="{at:.1f}" cy="{y:.1f}" r="5" fill="none" stroke="{COVER}" stroke-width="2.5">{told}</circle>'
    if moment.kind is Kind.KEY:
        return f'<rect x="{at - 5:.1f}" y="{y - 5:.1f}" width="10" height="10" fill="{INK}">{told}</rect>'
    if moment.kind is Kind.TIME:
        return f'<path d="M{at - 7:.1f} {y - 7:.1f} h14 l-7 14 z" fill="{INK}">{told}</path>'
    if moment.kind is Kind.CAUTION:
        return f'<path d="M{at:.1f} {y - 7:.1f} l7 7 l-7 7 l-7 -7 z" fill="{CARE}">{told}</path>'
    if moment.kind is Kind.WARNING:
        return f'<path d="M{at - 9:.1f} {y + 8:.1f} h18 l-9 -17 z" fill="{STOP}">{told}</path>'
    return f'<path d="M{at - 6:.1f} {y - 6:.1f} l12 12 m0 -12 l-12 12" stroke="{INK}" stroke-width="3">{told}</path>'


def _calls(record: RunRecord, x: Place, bottom: int) -> Iterator[str]:
    """Each call as a line through the picture; its name on the side where there is room."""
    for call in record.calls:
        at = x(call.sounded_s)
        left = at > LEFT + (WIDTH - LEFT - RIGHT) / 2
        dashes = ' stroke-dasharray="6 5"' if call.withdrawn else ""
        words = f"rinse call {minutes(call.sounded_s)}" + (" (taken back)" if call.withdrawn else "")
        yield f'<path d="M{at:.1f} 8 V{bottom}" stroke="{STOP}" stroke-width="3"{dashes}/>'
        yield (
            f'<text x="{at + (-8 if left else 8):.1f}" y="20" font-weight="700" fill="{STOP}"'
            f"{' text-anchor=' + chr(34) + 'end' + chr(34) if left else ''}>{words}</text>"
        )


def _key(record: RunRecord, lanes: Sequence[tuple[str, list[Moment]]], y: int) -> Iterator[str]:
    """What each mark means, in two rows."""
    at = 20.0
    bars = [
        (f'<rect x="0" y="-11" width="18" height="14" fill="{COVER}"/>', "put on and smoothed"),
        (f'<rect x="0" y="-11" width="18" height="14" fill="url(#works)" stroke="{WORKS}"/>', "cream works"),
        (f'<rect x="0" y="-8" width="18" height="8" fill="{RINSE}"/>', "water, until clear"),
        (f'<line x1="9" y1="-13" x2="9" y2="5" stroke="{INK}" stroke-width="4"/>', "the zone's limit"),
    ]
    if record.calls:
        bars.append((f'<line x1="9" y1="-13" x2="9" y2="5" stroke="{STOP}" stroke-width="3"/>', "rinse call"))
    for shape, words in bars:
        yield f'<g transform="translate({at:.0f} {y})">{shape}<text x="26" y="0">{words}</text></g>'
        at += 46 + 7.6 * len(words)
    names = {
        Kind.WARNING: "warning, harm", Kind.CAUTION: "caution", Kind.TIME: "time left", Kind.HEARD: "heard and obeyed",
        Kind.ASKED: "asked back", Kind.KEY: "key or pedal", Kind.LOST: "device lost or back",
    }  # fmt: skip
    kinds = {Kind.LOST if m.kind is Kind.BACK else m.kind for _, marks in lanes for m in marks}
    at = 20.0
    for kind in [k for k in names if k in kinds]:
        yield f'<g>{_mark(Moment(0.0, kind, names[kind]), at + 9, y + 23.0)}<text x="{at + 26:.0f}" y="{y + 28}">{names[kind]}</text></g>'
        at += 46 + 7.6 * len(names[kind])
