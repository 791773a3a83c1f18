"""How long reports take, where the time goes, and how many series a few minutes make.

python tests/benchmarks/bench_report.py start     import and start of the command
python tests/benchmarks/bench_report.py demo      the demo report, and where its time goes
python tests/benchmarks/bench_report.py all [N]   N series of 100 patches, then the same again
"""

import datetime as dt
import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "data" / "demo"
TIMES = 5


def timed(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def best(command: list[str]) -> tuple[float, float]:
    """Best and middle of several runs of a command, seconds."""
    runs = [
        timed(lambda: subprocess.run(command, check=True, capture_output=True))
        for _ in range(TIMES)
    ]
    return min(runs), statistics.median(runs)


def whole_time(command: list[str]) -> tuple[float, float]:
    """Wall time, and processor time with that of its workers, of a command; seconds."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    wall = timed(lambda: subprocess.run(command, check=True))
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def start() -> None:
    bare = best([sys.executable, "-c", "pass"])
    for name, command in (
        ("bare Python", [sys.executable, "-c", "pass"]),
        ("import kit", [sys.executable, "-c", "import kit"]),
        ("kit --help", [sys.executable, "-m", "kit.cli", "--help"]),
        ("import kit.report.analysis", [sys.executable, "-c", "import kit.report.analysis"]),
        (
            "import kit.report.sections.composition",
            [sys.executable, "-c", "import kit.report.sections.composition"],
        ),
    ):
        low, middle = best(command)
        print(f"{name}: best {low:.2f} s, middle {middle:.2f} s (of which Python {bare[0]:.2f} s)")


def demo() -> None:
    from kit.report import analyse, whole_report, write_report
    from kit.report.written_files import report_files
    from kit.series import read_series

    with tempfile.TemporaryDirectory() as scratch:
        runs = [timed(lambda: write_report(DEMO, Path(scratch) / "demo")) for _ in range(3)]
        size = (Path(scratch) / "demo" / "report.html").stat().st_size
    print(f"write_report: best {min(runs):.1f} s of {len(runs)}; {size / 1e6:.2f} MB")
    marks = [time.process_time()]
    series = read_series(DEMO)
    marks.append(time.process_time())
    analysis = analyse(series)
    marks.append(time.process_time())
    report = whole_report(analysis)
    marks.append(time.process_time())
    report_files(analysis, report)
    marks.append(time.process_time())
    names = ("read", "fit and judge", "put together and draw", "set as HTML, PDF and SVG")
    for name, before, after in zip(names, marks, marks[1:], strict=False):
        print(f"  {name}: {after - before:.2f} s of processor time")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"  most memory: {peak:.0f} MB")


def many(count: int) -> None:
    from kit.design import plan
    from kit.series import new_series
    from kit.studio import demo_colours, demo_settings, demo_truth, fire

    colours, truth = demo_colours(), demo_truth()
    with tempfile.TemporaryDirectory() as scratch:
        data, reports = Path(scratch) / "data", Path(scratch) / "reports"
        wanted = replace(demo_settings(), tiles=25)
        planned = plan(new_series("planned", wanted, colours))
        for n in range(count):
            name = f"series-{n:03d}"
            day = dt.date(2025, 1, 1) + dt.timedelta(days=3 * n)
            series = new_series(name, replace(wanted, started=day, seed=n), colours)
            series = replace(series, tiles=planned.tiles, patches=planned.patches)
            fire(series, truth, n).write(data / name)
        patches = count * len(planned.patches)
        call = "import sys; from kit.report import write_every_report as w; w(*sys.argv[1:])"
        first, worked = whole_time([sys.executable, "-c", call, str(data), str(reports)])
        again, _ = whole_time([sys.executable, "-c", call, str(data), str(reports)])
        index = (reports / "index.html").stat().st_size
        size = len(json.loads((reports / "series-000" / "entry.json").read_text()))
        assert size
    print(f"{count} series, {patches} patches: {first:.0f} s; again, all unchanged: {again:.0f} s")
    print(f"processor time of the first: {worked:.0f} s")
    print(f"index.html: {index / 1e6:.2f} MB")


if __name__ == "__main__":
    what = sys.argv[1] if len(sys.argv) > 1 else ""
    if what == "start":
        start()
    elif what == "demo":
        demo()
    elif what == "all":
        many(int(sys.argv[2]) if len(sys.argv) > 2 else 100)
    else:
        sys.exit(__doc__)
