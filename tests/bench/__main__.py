"""`python -m tests.bench [NAME ...] [--json F] [--plots FOLDER]`: every benchmark, or those named."""

from __future__ import annotations

import argparse
import importlib
import inspect
import json
import os
import pkgutil
import platform
import sys
from dataclasses import asdict
from pathlib import Path
from types import ModuleType

import tests.bench as package
from tests.bench.curve_picture import svg
from tests.bench.result import Result


def benchmarks() -> dict[str, ModuleType]:
    """Every module of this package that measures something."""
    found = {}
    for info in pkgutil.iter_modules(package.__path__):
        if info.name != "__main__":
            module = importlib.import_module(f"tests.bench.{info.name}")
            if hasattr(module, "measure"):
                found[info.name] = module
    return found


def main() -> int:
    known = benchmarks()
    command = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    command.add_argument("names", nargs="*", metavar="NAME", help=f"of {', '.join(known)} (default: all)")
    command.add_argument("--json", type=Path, metavar="F", help="write the figures")
    command.add_argument("--plots", type=Path, metavar="FOLDER", help="draw the curves as SVG files")
    command.add_argument("--minutes", type=float, metavar="M", help="for those that go on in real time")
    command.add_argument(
        "--load", type=int, metavar="N", help="busy processes beside them (default: one a core)"
    )
    chosen = command.parse_args()
    unknown = sorted(set(chosen.names) - set(known))
    if unknown:
        command.error(f"there is no benchmark {', '.join(unknown)}; there are {', '.join(known)}")
    results: list[Result] = []
    for name in chosen.names or known:
        asked = {"minutes": chosen.minutes, "load": chosen.load}
        takes = inspect.signature(known[name].measure).parameters
        given = {key: value for key, value in asked.items() if key in takes and value is not None}
        result: Result = known[name].measure(**given)
        results.append(result)
        print(result.name)
        for figure, value in result.figures.items():
            most = result.at_most.get(figure)
            goal = (
                ""
                if most is None
                else f"   at most {most:g}: {'MISSED' if figure in result.missed else 'met'}"
            )
            print(f"  {figure:<36}{value:>12.5g}{goal}")
        for curve in result.curves:
            print(f"  {curve.name}: " + ", ".join(f"{x:g}: {y:.4f}" for x, y in curve.points))
    if chosen.plots is not None:
        chosen.plots.mkdir(parents=True, exist_ok=True)
        for result in results:
            for curve in result.curves:
                (chosen.plots / f"{curve.name}.svg").write_text(svg(curve), encoding="utf-8")
    if chosen.json is not None:
        machine = {
            "python": platform.python_version(),
            "machine": platform.machine(),
            "cores": os.cpu_count(),
        }
        whole = {"machine": machine, "results": [asdict(r) | {"missed": list(r.missed)} for r in results]}
        chosen.json.write_text(json.dumps(whole, indent=2) + "\n", encoding="utf-8")
    return 1 if any(result.missed for result in results) else 0


if __name__ == "__main__":
    sys.exit(main())
