"""A run as it stands in a diary, for commands that need one."""

from __future__ import annotations

RUN = {
    "schema": 1, "id": "2024-03-14-1830", "kind": "run", "outcome": "finished",
    "started": "2024-03-14T18:30:00+01:00", "person": "Ada", "helper": "Bo", "routine": "touch_up", "kit": "My Kit",
    "product_class": "hydroxide to mix", "hair": "coarse", "limit_s": 1080.0, "limit_reason": "the chart",
    "limit_means": "by section", "zones": [{"zone": "nape", "first_s": 0.0, "last_s": 60.0, "wet_s": 900.0, "clear_s": 1000.0}],
}  # fmt: skip
