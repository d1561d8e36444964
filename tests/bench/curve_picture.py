"""A curve as an SVG file: axes from zero, the points, their values beside them."""

from __future__ import annotations

from html import escape

from tests.bench.result import Curve

WIDTH, HEIGHT, LEFT, BOTTOM, TOP, RIGHT = 640, 380, 80, 60, 40, 40


def svg(curve: Curve) -> str:
    most_x = max(x for x, _ in curve.points) * 1.05
    most_y = max(y for _, y in curve.points) * 1.1
    places = [
        (LEFT + (WIDTH - LEFT - RIGHT) * x / most_x, HEIGHT - BOTTOM - (HEIGHT - BOTTOM - TOP) * y / most_y)
        for x, y in curve.points
    ]
    floor = HEIGHT - BOTTOM
    marks = [
        f'<circle cx="{px:.1f}" cy="{py:.1f}" r="4"/>'
        f'<text x="{px:.1f}" y="{py - 10:.1f}" text-anchor="middle">'
        f'{y * 1000:.1f} ms</text><text x="{px:.1f}" y="{floor + 20}" text-anchor="middle">{x:g}</text>'
        for (px, py), (x, y) in zip(places, curve.points, strict=True)
    ]
    line = " ".join(f"{px:.1f},{py:.1f}" for px, py in places)
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" '
            'font-family="system-ui, sans-serif" font-size="12" fill="#111">',
            f"<title>{escape(curve.name)}: {escape(curve.of)} against {escape(curve.against)}</title>",
            f'<rect width="{WIDTH}" height="{HEIGHT}" fill="#fff"/>',
            f'<path d="M{LEFT} {TOP} V{floor} H{WIDTH - RIGHT}" fill="none" stroke="#111"/>',
            f'<polyline points="{line}" fill="none" stroke="#1f5fa8" stroke-width="2"/>',
            *marks,
            f'<text x="{(LEFT + WIDTH - RIGHT) / 2}" y="{HEIGHT - 16}" text-anchor="middle">'
            f"{escape(curve.against)}</text>",
            f'<text x="{LEFT}" y="22">{escape(curve.of)}, from zero</text>',
            "</svg>\n",
        ]
    )
