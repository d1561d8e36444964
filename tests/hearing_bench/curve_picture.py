"""The trade-off of one condition as an SVG file: missed share against false accepts, a line a class."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape

WIDTH, HEIGHT, LEFT, BOTTOM, TOP, RIGHT = 680, 400, 70, 60, 40, 20
LINES = ("#1f5fa8", "#a33d00", "#3a3a3a")
DASHES = ("none", "7 4", "2 3")
Row = Mapping[str, object]


def svg(condition: str, classes: Mapping[str, Sequence[Row]], talk: str = "human") -> str:
    """`classes` as `curves.curves` gives them; `talk` is "human" or "made". Marked is the threshold as it is."""
    lines = {
        name: [(_rate(row, f"false_per_h_{talk}"), 100 * _rate(row, "missed"), row["points"]) for row in rows]
        for name, rows in classes.items()
    }
    every = [point for points in lines.values() for point in points]
    most_x = max([x for x, _, _ in every] + [1.0]) * 1.05
    most_y = max([y for _, y, _ in every] + [1.0]) * 1.05
    floor, right = HEIGHT - BOTTOM, WIDTH - RIGHT

    def place(x: float, y: float) -> str:
        return f"{LEFT + (right - LEFT) * x / most_x:.1f},{floor - (floor - TOP) * y / most_y:.1f}"

    drawn = []
    for number, (name, points) in enumerate(lines.items()):
        colour, dash = LINES[number % len(LINES)], DASHES[number % len(DASHES)]
        style = f'stroke="{colour}" stroke-width="2" stroke-dasharray="{dash}" fill="none"'
        row = " ".join(place(x, y) for x, y, _ in points)
        drawn.append(f'<polyline points="{row}" {style}/>')
        for x, y, at in points:
            px, py = place(x, y).split(",")
            drawn.append(f'<circle cx="{px}" cy="{py}" r="{5 if at == 0 else 2}" fill="{colour}"/>')
        down = TOP + 20 * number
        drawn.append(f'<path d="M{right - 250} {down} h30" {style}/>')
        drawn.append(f'<text x="{right - 214}" y="{down + 4}">{escape(name.replace("_", " "))}</text>')
    title = f"{condition}: missed against false accepts of {talk} talk"
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
            'font-family="system-ui, sans-serif" font-size="12" fill="#111">',
            f"<title>{escape(title)}</title>",
            f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#fff"/>',
            f'<path d="M{LEFT} {TOP} V{floor} H{right}" fill="none" stroke="#111"/>',
            *drawn,
            f'<text x="{LEFT - 6}" y="{floor + 16}" text-anchor="end">0</text>',
            f'<text x="{right}" y="{floor + 16}" text-anchor="end">{most_x:.0f}</text>',
            f'<text x="{LEFT - 6}" y="{TOP + 4}" text-anchor="end">{most_y:.0f} %</text>',
            f'<text x="{(LEFT + right) / 2}" y="{HEIGHT - 16}" text-anchor="middle">'
            f"falsely accepted of {talk} talk, an hour; the large dot is the threshold as it is</text>",
            f'<text x="{LEFT}" y="20">{escape(condition)}: missed, %</text>',
            "</svg>\n",
        ]
    )


def _rate(row: Row, key: str) -> float:
    value = row[key]
    assert isinstance(value, Mapping)
    return float(value["rate"])
