"""The page as a class uses it, in a real browser: by keyboard, by touch, light and dark."""

import importlib.resources
import io
import json
import shutil
from dataclasses import replace
from importlib.util import find_spec

import pytest
from PIL import Image

from kit.photo import PatchPicture
from kit.report import whole_report
from kit.report.page.document import LookUp
from kit.report.page.html import page
from kit.series import patches_in_full

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
DRIVER = shutil.which("chromedriver")

pytestmark = pytest.mark.skipif(
    not (CHROMIUM and DRIVER),
    reason="no browser here: install Debian's chromium and chromium-driver to run this",
)


@pytest.fixture(scope="module")
def document(analysis):
    """A report in which one patch, not a control, has its photograph."""
    patches = patches_in_full(analysis.series)
    patch = patches.loc[patches["base"] != patches["overlay"], "patch"].iloc[0]
    jpeg = io.BytesIO()
    Image.new("RGB", (8, 8), "teal").save(jpeg, "JPEG")
    return whole_report(replace(analysis, pictures=(PatchPicture(patch, 1, jpeg.getvalue()),)))


@pytest.fixture(scope="module")
def told(document):
    return next(part for part in document.parts() if isinstance(part, LookUp)).data


@pytest.fixture(scope="module")
def address(document, tmp_path_factory):
    place = tmp_path_factory.mktemp("page") / "report.html"
    place.write_text(page(document), "utf-8")
    return place.as_uri()


@pytest.fixture(scope="module")
def browser():
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for option in ("--headless=new", "--no-sandbox", "--disable-gpu", "--window-size=360,780"):
        options.add_argument(option)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    chrome = webdriver.Chrome(options, webdriver.ChromeService(DRIVER))
    yield chrome
    chrome.quit()


@pytest.fixture
def phone(browser, address):
    """The page on a phone; after the test the console must be empty."""
    size = {"width": 360, "height": 780, "deviceScaleFactor": 2, "mobile": True}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    browser.get(address)
    yield browser
    assert browser.get_log("browser") == []


def expected(browser):
    return browser.find_element("css selector", ".expected").text


def test_nothing_is_wider_than_a_phone(phone):
    assert phone.execute_script("return document.documentElement.scrollWidth") <= 360


def test_look_up_by_keyboard(phone, told):
    from selenium.webdriver.common.keys import Keys

    overlay = phone.find_element("name", "overlay")
    overlay.send_keys(told["colours"][5][:3])
    phone.find_element("name", "base").send_keys(told["colours"][0][:3])
    phone.find_element("css selector", "[name=count][value='0']").send_keys(Keys.SPACE)
    assert expected(phone).startswith(f"{told['colours'][5]} over {told['colours'][0]}")
    assert "after 1 firing" in expected(phone)
    phone.find_element("name", "turn").send_keys(Keys.ENTER)
    assert expected(phone).startswith(f"{told['colours'][0]} over {told['colours'][5]}")


def test_every_choice_says_what_the_data_say(phone, told):
    choose = """
      const form = document.querySelector('#look-up form');
      form.base.value = arguments[0]; form.overlay.value = arguments[1];
      form.elements.count.value = arguments[2];
      form.dispatchEvent(new Event('change'));
    """
    many = len(told["colours"])
    for base, overlay in ((0, 1), (1, 0), (3, 5), (5, 2)):
        for count in range(len(told["counts"])):
            phone.execute_script(choose, str(base), str(overlay), str(count))
            row = told["tables"][0][(base * many + overlay) * len(told["counts"]) + count]
            said = expected(phone)
            assert told["looks"][row[3]]["heading"] in said
            assert told["sentences"][row[4]] in said
            assert all(told["percent"][c].replace("\u00a0", " ") in said for c in row[:3])


def test_a_pair_is_shown_in_its_photographs_or_else_in_a_drawing(phone, told):
    choose = """
      const form = document.querySelector('#look-up form');
      form.base.value = arguments[0]; form.overlay.value = arguments[1];
      form.dispatchEvent(new Event('change'));
      const shown = document.querySelectorAll('.expected img');
      return [shown.length, document.querySelectorAll('.expected .ending').length,
        [...shown].every(image => image.naturalWidth > 0)];
    """
    ((pair, (name,)),) = told["photographs"].items()
    base, overlay = divmod(int(pair), len(told["colours"]))
    assert phone.execute_script(choose, str(base), str(overlay)) == [1, 0, True]
    assert phone.execute_script(choose, str(overlay), str(base)) == [0, 1, True]
    assert phone.execute_script(f"return document.querySelectorAll('#{name}').length") == 1


def test_touching_a_cell_looks_its_pair_up(phone, told):
    chart = next(c for c in told["charts"] if c["name"] == "pair-chart")
    for base, overlay in (("2", "0"), ("4", "3")):
        svg = phone.find_element("css selector", "#figure-pair-chart svg")
        at = phone.execute_script(
            """
            arguments[0].scrollIntoView({block: 'center'});
            const point = new DOMPoint(arguments[1], arguments[2]);
            const seen = point.matrixTransform(arguments[0].getScreenCTM());
            return [seen.x, seen.y];
            """,
            svg, chart["across"][overlay] + 6, chart["down"][base] + 6,
        )  # fmt: skip
        finger = {"type": "touchStart", "touchPoints": [{"x": at[0], "y": at[1]}]}
        phone.execute_cdp_cmd("Input.dispatchTouchEvent", finger)
        phone.execute_cdp_cmd("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
        pair = f"{told['colours'][int(overlay)]} over {told['colours'][int(base)]}"
        deadline = "return new Promise(done => setTimeout(done, 300))"
        phone.execute_script(deadline)
        assert expected(phone).startswith(pair)


def test_arrow_keys_walk_over_the_chart(phone, told):
    from selenium.webdriver.common.keys import Keys

    before = phone.execute_script("return document.querySelector('[name=base]').value")
    chart = phone.find_element("css selector", "#figure-pair-chart .scroll")
    chart.send_keys(Keys.ARROW_DOWN if before != "5" else Keys.ARROW_UP)
    assert phone.execute_script("return document.querySelector('[name=base]').value") != before


def test_pairs_are_filtered_and_sorted(phone, analysis):
    from selenium.webdriver.support.ui import Select

    Select(phone.find_element("css selector", ".pair-tools [name=colour]")).select_by_visible_text(
        "Moss"
    )
    shown = phone.execute_script(
        "return [...document.querySelectorAll('table.pairs tbody tr')]"
        ".filter(row => !row.hidden).map(row => row.querySelector('th').textContent)"
    )
    pairs = analysis.pairs[["base", "overlay"]].drop_duplicates()
    with_moss = pairs[(pairs["base"] == "Moss") | (pairs["overlay"] == "Moss")]
    assert sorted(shown) == sorted(f"{p.overlay} over {p.base}" for p in with_moss.itertuples())
    Select(phone.find_element("css selector", ".pair-tools [name=order]")).select_by_value("o")
    table = phone.execute_script(
        "return [...document.querySelectorAll('table.pairs')].map(t => "
        "[...t.querySelectorAll('tbody tr')].map(row => Number(row.dataset.o)))"
    )
    assert all(rows == sorted(rows) for rows in table)


@pytest.mark.skipif(not find_spec("axe_selenium_python"), reason="needs axe-selenium-python")
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing(phone, scheme):
    feature = {"features": [{"name": "prefers-color-scheme", "value": scheme}]}
    phone.execute_cdp_cmd("Emulation.setEmulatedMedia", feature)
    phone.execute_script("document.querySelectorAll('details').forEach(d => { d.open = true; })")
    axe = importlib.resources.files("axe_selenium_python").joinpath(
        "node_modules/axe-core/axe.min.js"
    )
    phone.execute_script(axe.read_text("utf-8"))
    found = phone.execute_async_script("axe.run().then(arguments[arguments.length - 1])")
    assert not found["violations"], json.dumps(found["violations"], indent=1)[:3000]
