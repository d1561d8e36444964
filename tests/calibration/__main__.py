"""`python -m tests.calibration [--households N] [--json F]`: the full calibration, a table and JSON."""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path

from tests.calibration.households import MODEL, OUTSIDE, WORSE
from tests.calibration.measure import calibrate, together


def main() -> None:
    command = argparse.ArgumentParser(prog="python -m tests.calibration", description=__doc__)
    command.add_argument(
        "--households", type=int, default=2000, help="half of them from the model (default: %(default)s)"
    )
    command.add_argument("--seed", type=int, default=1)
    command.add_argument("--json", type=Path, metavar="F", help="write the figures")
    chosen = command.parse_args()
    began, found = time.perf_counter(), []
    each = max(1, chosen.households // 8)
    mixed = [calibrate(MODEL, chosen.households - 4 * each, chosen.seed)]
    mixed += [calibrate(kind, each, chosen.seed) for kind in OUTSIDE]
    worse = [calibrate(kind, each, chosen.seed) for kind in WORSE]
    print(f"{'households':<30}{'plans':>6}{'given':>8}{'within':>8}   95 % interval")
    for result in (*mixed, together(mixed), *worse):
        found.append(result.as_json())
        low, high = result.interval()
        verdict = (
            "calibrated"
            if result.calibrated
            else "better than promised"
            if result.safe
            else "WORSE than promised"
        )
        print(
            f"{result.kind:<30}{result.plans:>6}{result.given:>8.3f}{result.share:>8.3f}   "
            f"{low:.3f} to {high:.3f}  {verdict}",
            flush=True,
        )
    if chosen.json is not None:
        whole = {"seed": chosen.seed, "wall_s": round(time.perf_counter() - began, 1), "kinds": found}
        chosen.json.write_text(json.dumps(whole, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
