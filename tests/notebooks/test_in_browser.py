"""Every notebook as a person meets it: JupyterLab in a real browser."""

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from dataclasses import replace
from pathlib import Path

import pytest

from kit.series import read_series
from kit.studio import demo_photographs, demo_piece

ROOT = Path(__file__).parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
PATIENCE_S = 120

RUN_ALL = """
const done = arguments[arguments.length - 1];
const app = window.jupyterapp;
const everyCellInView = () => {
  const book = app.shell.currentWidget.content;
  book.notebookConfig = Object.assign({}, book.notebookConfig, {windowingMode: 'none'});
};
app.restored.then(() => app.shell.currentWidget.context.ready)
  .then(() => app.shell.currentWidget.sessionContext.ready)
  .then(everyCellInView)
  .then(() => app.commands.execute('notebook:run-all-cells'))
  .then(() => done('ran'), problem => done('stopped: ' + problem));
"""

READ = "return window.jupyterapp.shell.currentWidget.content.model.toJSON()"


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@pytest.fixture(scope="module")
def studio(tmp_path_factory):
    """A studio of its own, so that nothing in the real one is touched."""
    folder = tmp_path_factory.mktemp("studio")
    shutil.copytree(ROOT / "notebooks", folder / "notebooks")
    shutil.copytree(ROOT / "data" / "demo", folder / "data" / "demo")
    demo_photographs(folder / "data" / "demo")
    demo_piece(folder / "data")
    return folder


@pytest.fixture(scope="module")
def ungraded(studio):
    """A series in the studio, fired but not graded yet, that the recording notebook opens."""
    series = read_series(ROOT / "data" / "demo")
    folder = studio / "data" / "ungraded"
    replace(series, name="ungraded", grades=series.grades.iloc[:0], sources={}).write(folder)
    book = (studio / "notebooks" / "03_record.ipynb").read_text("utf-8")
    changed = book.replace('series = \\"demo\\"', 'series = \\"ungraded\\"')
    assert changed != book
    (studio / "notebooks" / "record_ungraded.ipynb").write_text(changed, "utf-8")
    return folder


@pytest.fixture(scope="module")
def lab(studio):
    """The address of a running JupyterLab."""
    port, home = free_port(), studio / ".home"
    home.mkdir()
    places = {f"JUPYTER_{p}_DIR": str(home / p.lower()) for p in ("CONFIG", "DATA", "RUNTIME")}
    options = [
        "--no-browser", "--allow-root", "--expose-app-in-browser", f"--port={port}",
        f"--ServerApp.root_dir={studio}", "--IdentityProvider.token=tried",
        "--LabApp.news_url=None", "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
    ]  # fmt: skip
    log = (home / "log").open("w")
    server = subprocess.Popen(
        [sys.executable, "-m", "jupyterlab", *options],
        env=os.environ | places | {"PATH": f"{Path(sys.executable).parent}:{os.environ['PATH']}"},
        stdout=log,
        stderr=log,
    )
    address = f"http://127.0.0.1:{port}"
    try:
        wait_for(lambda: urllib.request.urlopen(f"{address}/api?token=tried"), server)
        yield address
    finally:
        server.terminate()
        server.wait(20)
        log.close()


def wait_for(answers, server):
    start = time.monotonic()
    while time.monotonic() - start < PATIENCE_S:
        assert server.poll() is None, "JupyterLab stopped by itself"
        try:
            return answers()
        except OSError:
            time.sleep(0.3)
    raise TimeoutError("JupyterLab did not answer")


def open_and_run(browser, lab, name):
    """Run a notebook; return its cells."""
    browser.get(f"{lab}/doc/tree/notebooks/{name}.ipynb?token=tried&reset")
    start = time.monotonic()
    while not browser.execute_script("return !!(window.jupyterapp?.shell?.currentWidget?.context)"):
        assert time.monotonic() - start < PATIENCE_S, "the notebook did not open"
        time.sleep(0.2)
    assert browser.execute_async_script(RUN_ALL) == "ran"
    return browser.execute_script(READ)["cells"]


def outputs(cells):
    return [output for cell in cells for output in cell.get("outputs", [])]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)
def test_every_cell_runs_and_shows_something(browser, lab, path):
    cells = open_and_run(browser, lab, path.stem)
    code = [cell for cell in cells if cell["cell_type"] == "code"]
    assert [o for o in outputs(cells) if o["output_type"] == "error"] == []
    assert all(cell["execution_count"] for cell in code)
    assert any(o["output_type"] in ("display_data", "execute_result") for o in outputs(cells))


def until(holds, what):
    start = time.monotonic()
    while not holds():
        assert time.monotonic() - start < PATIENCE_S, f"not seen in time: {what}"
        time.sleep(0.2)


def test_the_form_stands_in_the_notebook_and_what_is_tapped_is_on_disk(browser, lab, ungraded):
    open_and_run(browser, lab, "record_ungraded")
    first = read_series(ungraded).settings.graders[0]
    frames = lambda: browser.find_elements("css selector", "iframe[title='Grading form']")  # noqa: E731
    until(frames, "the form below its cell")
    browser.switch_to.frame(frames()[0])
    until(lambda: browser.find_elements("css selector", "a.choice"), "who grades")
    browser.find_elements("css selector", "a.choice")[0].click()
    until(lambda: browser.find_elements("css selector", "button:enabled[data-grade='3']"), "steps")
    for button in browser.find_elements("css selector", "button[data-grade='3']"):
        button.click()
    until(lambda: len(read_series(ungraded).grades) == 1, "one graded patch in grades.csv")
    until(lambda: read_series(ungraded).grades["pull_through"].notna().all(), "its second score")
    browser.switch_to.default_content()
    row = read_series(ungraded).grades.iloc[0]
    assert (row["grader"], row["firing"], row["spread"], row["pull_through"]) == (first, 1, 3, 3)
