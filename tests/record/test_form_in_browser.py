"""The grading form as a person meets it: `kit grade` in a browser, by touch and by keyboard."""

import os
import socket
import subprocess
import sys
import time
from dataclasses import replace

import pytest

from kit.record import grading_order
from kit.series import Scale, read_series

PATIENCE_S = 60
PHONE, TABLET = (390, 664), (1024, 768)
"""CSS pixels: a phone of 390 x 844 less the browser's own bars; a tablet of 1024 x 768."""

GLOSS = Scale("gloss", "Gloss", "How does it shine?", ("matt", "silk", "satin", "wet", "glass"))


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Served:
    """`kit grade` in a process of its own."""

    def __init__(self, folder, port: int) -> None:
        words = ["grade", str(folder), "--address-only", "--port", str(port)]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "kit.cli", *words],
            stdout=subprocess.PIPE,
            text=True,
            env=os.environ | {"PYTHONUNBUFFERED": "1"},
        )
        self.address = self.process.stdout.readline().removeprefix("Grade at ").strip()

    def end(self) -> None:
        self.process.kill()
        self.process.wait(20)
        self.process.stdout.close()


@pytest.fixture
def serve(request):
    def start(folder, port=None) -> Served:
        served = Served(folder, port or free_port())
        request.addfinalizer(served.end)
        return served

    return start


def until(holds, what: str):
    start = time.monotonic()
    while not (found := holds()):
        assert time.monotonic() - start < PATIENCE_S, f"not seen in time: {what}"
        time.sleep(0.05)
    return found


class Form:
    """The form on a screen of a given size."""

    def __init__(self, browser, size: tuple[int, int]) -> None:
        self.browser = browser
        told = {"width": size[0], "height": size[1], "deviceScaleFactor": 1, "mobile": True}
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", told)
        browser.execute_cdp_cmd("Emulation.setTouchEmulationEnabled", {"enabled": True})
        browser.get_log("browser")

    def open(self, address: str, by: str, firing: int) -> "Form":
        self.browser.get(address)
        wanted = f"a.choice[href='form?by={by}&firing={firing}']"
        until(lambda: self.browser.find_elements("css selector", wanted), "the grader's name")
        self.tap(wanted)
        self.settled()
        return self

    def settled(self) -> None:
        ready = "button[data-grade]:enabled"
        until(lambda: self.browser.find_elements("css selector", ready), "buttons to tap")

    def tap(self, selector: str) -> None:
        """Touch the middle of an element, as a finger does."""
        element = self.browser.find_element("css selector", selector)
        box = self.browser.execute_script(
            "const b = arguments[0].getBoundingClientRect();"
            "return [b.x + b.width / 2, b.y + b.height / 2];",
            element,
        )
        point = [{"x": box[0], "y": box[1]}]
        for kind, points in (("touchStart", point), ("touchEnd", [])):
            told = {"type": kind, "touchPoints": points}
            self.browser.execute_cdp_cmd("Input.dispatchTouchEvent", told)

    def grade(self, scale: str, step: int) -> None:
        self.settled()
        self.tap(f"[data-scale='{scale}'] button[data-grade='{step}']")

    def text(self, name: str) -> str:
        return self.browser.execute_script(
            "return document.getElementById(arguments[0])?.textContent", name
        )

    def until_text(self, name: str, words: str) -> None:
        until(lambda: words in (self.text(name) or ""), f"'{words}' in {name}")

    def complaints(self) -> list[str]:
        return [entry["message"] for entry in self.browser.get_log("browser")]

    def cut_off(self) -> list[str]:
        """What needs scrolling, is too small for a finger, or has words cut off."""
        return self.browser.execute_script(
            """
            const page = document.documentElement;
            const wrong = [];
            const blame = (what, one) => wrong.push(`${what}: ${one.outerHTML.slice(0, 60)}`);
            if (page.scrollHeight > innerHeight || page.scrollWidth > innerWidth) blame("", page);
            const seen = "button, input, h1, legend, #picture svg, summary";
            for (const one of document.querySelectorAll(seen)) {
              const box = one.getBoundingClientRect();
              const { top, left, bottom, right, width, height } = box;
              if (top < 0 || left < 0 || bottom > innerHeight || right > innerWidth || !width)
                blame("outside", one);
              if (!one.matches("button, input")) continue;
              if (height < 44 || width < 44) blame(`small, ${width} x ${height}`, one);
              if (one.matches("input")) continue;
              const over = one.scrollHeight - one.clientHeight;
              if (over > 1 || one.scrollWidth > one.clientWidth + 1) blame("cut", one);
            }
            return wrong;
            """
        )


def test_a_tile_is_graded_from_start_to_end_on_a_phone(browser, serve, folder, series):
    """Three patches of one tile by touch alone; every tap on disk, and no word in the console."""
    form = Form(browser, PHONE).open(serve(folder).address, "Ada", 2)
    order = grading_order(series, 2, "Ada")
    for place, patch in enumerate(order[:3], start=1):
        form.until_text("heading", f"Tile {patch[1]}, place {patch[3]}")
        assert form.cut_off() == []
        form.grade("spread", place)
        form.grade("pull_through", 4 - place)
        form.until_text("progress", f"{place} of 12 patches done")
    grades = read_series(folder).grades.set_index("patch")
    assert len({patch[1] for patch in order[:3]}) == 1
    for place, patch in enumerate(order[:3], start=1):
        assert (grades.at[patch, "spread"], grades.at[patch, "pull_through"]) == (place, 4 - place)
    form.tap("#undo")
    form.until_text("progress", "2 of 12 patches done")
    form.settled()
    assert read_series(folder).grades.set_index("patch")["pull_through"].isna()[order[2]]
    form.browser.find_element("css selector", "#lost").send_keys("chipped\n")
    form.until_text("heading", f"Tile {order[3][1]}, place {order[3][3]}")
    assert read_series(folder).patches.set_index("patch").at[order[2], "accident"] == "chipped"
    assert form.complaints() == []


def test_it_works_by_keyboard_alone(browser, serve, folder, series):
    """Digits grade the scales in turn, u takes back, arrows leaf; Tab and Enter reach the rest."""
    from selenium.webdriver import ActionChains, Keys

    form = Form(browser, TABLET).open(serve(folder).address, "Ben", 1)
    press = lambda *keys: ActionChains(browser).send_keys(*keys).perform()  # noqa: E731
    press("2")
    press("0")
    form.until_text("progress", "1 of 8 patches done")
    form.settled()
    press("u")
    form.until_text("progress", "0 of 8 patches done")
    form.settled()
    press(Keys.ARROW_RIGHT)
    second = grading_order(series, 1, "Ben")[1]
    form.until_text("heading", f"Tile {second[1]}, place {second[3]}")
    form.settled()
    browser.execute_script("document.querySelector(\"button[data-grade='1']\").focus()")
    press(Keys.ENTER)
    until(lambda: second in set(read_series(folder).grades["patch"]), "a grade by Enter")
    browser.execute_script("document.getElementById('note').focus()")
    press("3 bubbles", Keys.ENTER)
    until(lambda: "3 bubbles" in set(read_series(folder).grades["note"]), "the note")
    assert len(read_series(folder).grades) == 2
    assert form.complaints() == []


@pytest.mark.parametrize("size", [PHONE, TABLET, (360, 640), (1280, 800)])
@pytest.mark.parametrize("more", [0, 1, 3])
def test_everything_fits_without_scrolling(browser, serve, plan, tmp_path, size, more):
    if more == 3 and size[1] < 700:
        pytest.skip("five scales scroll on a phone")
    further = tuple(replace(GLOSS, name=f"s{n}", title=f"Gloss {n}") for n in range(more))
    series = plan(scales=(*plan().settings.scales, *further), graders=("Ada",))
    form = Form(browser, size).open(serve(series.write(tmp_path / "trial")).address, "Ada", 1)
    assert form.cut_off() == []


def test_what_was_tapped_while_the_kit_was_gone_is_saved_when_it_is_back(
    browser, serve, folder, series
):
    port = free_port()
    served = serve(folder, port)
    form = Form(browser, PHONE).open(served.address, "Ada", 2)
    first = grading_order(series, 2, "Ada")[0]
    served.end()
    form.grade("spread", 3)
    form.until_text("message", "Not saved yet")
    assert browser.find_elements("css selector", "button[data-grade]:enabled") == []
    browser.get("about:blank")
    assert read_series(folder).grades.empty
    form.open(serve(folder, port).address, "Ada", 2)
    until(lambda: len(read_series(folder).grades), "the grade that waited")
    assert read_series(folder).grades.set_index("patch").at[first, "spread"] == 3
    chosen = "[data-scale='spread'] button[aria-pressed='true']"
    until(lambda: browser.find_elements("css selector", chosen), "the grade in the form")


def test_a_tap_too_many_does_not_reach_the_next_patch(browser, serve, folder, series):
    """A double tap on the last scale grades one patch."""
    form = Form(browser, PHONE).open(serve(folder).address, "Ada", 2)
    form.grade("spread", 1)
    form.settled()
    browser.execute_script(
        "const b = document.querySelector(\"[data-scale='pull_through'] button[data-grade='4']\");"
        "b.click(); b.click(); b.click();"
    )
    form.until_text("progress", "1 of 12 patches done")
    form.settled()
    time.sleep(0.5)
    grades = read_series(folder).grades
    assert grades["patch"].tolist() == grading_order(series, 2, "Ada")[:1]
    assert read_series(folder).corrections.empty
