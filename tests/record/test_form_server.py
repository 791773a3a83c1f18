"""The grading form as it is served: what it shows, what it takes, and whom it lets in."""

import json
import re
import threading
import urllib.error
import urllib.request
from dataclasses import replace
from html import unescape

import cv2
import numpy as np
import pytest

from kit.errors import Misuse
from kit.record import Grading, GradingServer
from kit.record.form_server import _camera_square
from kit.record.grading_page import form_page, patch_shown, tile_picture, welcome_page
from kit.series import Scale, Settings, read_series


@pytest.fixture
def server(folder):
    server = GradingServer(folder, port=0).start()
    yield server
    server.stop()


def fetch(address: str, told: object = None) -> tuple[int, str, dict[str, str]]:
    body = None if told is None else json.dumps(told).encode()
    try:
        with urllib.request.urlopen(urllib.request.Request(address, body), timeout=30) as answer:
            return answer.status, answer.read().decode(), dict(answer.headers)
    except urllib.error.HTTPError as refused:
        return refused.code, refused.read().decode(), dict(refused.headers)


def send(server, does: str, by: str = "Ada", firing: int = 2, **more: object) -> dict:
    told = {"page": by, "by": by, "firing": firing, "does": does, **more}
    return json.loads(fetch(f"{server.address}answer", told)[1])


def test_a_grader_is_offered_with_what_is_done(server, folder):
    grading = Grading(folder, "Ada", 1)
    grading.grade("spread", 1)
    grading.grade("pull_through", 1)
    status, page, _ = fetch(server.address)
    assert status == 200
    assert "<b>Ada</b><span>1 of 8 done" in page and "<b>Ben</b><span>0 of 8 done" in page


def test_an_answer_is_on_disk_when_it_is_answered(server, folder):
    first = send(server, "look")
    after = send(server, "grade", patch=first["patch"], scale="spread", value=3)
    assert after["grades"]["spread"] == 3 and after["saved"].startswith("All is saved")
    (row,) = read_series(folder).grades.to_dict("records")
    assert (row["patch"], row["grader"], row["spread"]) == (first["patch"], "Ada", 3)
    moved = send(server, "grade", patch=first["patch"], scale="pull_through", value=0)
    assert moved["place"] == 2 and moved["progress"] == "1 of 12 patches done"


def test_an_answer_that_comes_twice_counts_once(server):
    first = send(server, "look")
    for value in (1, 3):
        send(server, "grade", patch=first["patch"], scale="spread", value=value)
    for _ in range(2):
        state = send(server, "undo", number="u1")
    assert state["grades"]["spread"] == 1


def test_several_graders_at_once_lose_nothing(server, folder):
    """Each sends the grades of a firing at the same time as the other."""

    def grades(by: str) -> None:
        for patch in Grading(folder, by, 2).patches[:6]:
            for scale in ("spread", "pull_through"):
                told = send(server, "grade", by, patch=patch, scale=scale, value=2)
                assert "problem" not in told

    people = [threading.Thread(target=grades, args=[by]) for by in ("Ada", "Ben")]
    for person in people:
        person.start()
    for person in people:
        person.join()
    grades_there = read_series(folder).grades
    assert len(grades_there) == 12
    assert (grades_there[["spread", "pull_through"]] == 2).all(axis=None)


def test_two_pages_of_one_grader_keep_a_place_each(server):
    for page in ("phone", "tablet"):
        send(server, "next", page=page)
    send(server, "next", page="phone")
    assert send(server, "look", page="phone")["place"] == 3
    assert send(server, "look", page="tablet")["place"] == 2


@pytest.mark.parametrize(
    "more",
    [
        {"does": "grade", "patch": "T1-1", "scale": "spread", "value": 9},
        {"does": "grade", "patch": "T1-1", "scale": "gloss", "value": 1},
        {"does": "grade", "patch": "T9-9", "scale": "spread", "value": 1},
        {"does": "grade", "patch": "T1-1", "scale": "spread", "value": None},
        {"does": "burn"},
        {"does": "look", "by": "Nobody"},
        {"does": "look", "firing": "two"},
        {"does": "undo"},
    ],
)
def test_what_the_form_never_sends_changes_nothing(server, folder, more):
    before = (folder / "grades.csv").read_bytes()
    told = {"page": "p", "by": "Ada", "firing": 2, **more}
    status, answer, _ = fetch(f"{server.address}answer", told)
    assert status == 422 and json.loads(answer)["problem"].endswith((".", "?"))
    assert (folder / "grades.csv").read_bytes() == before


def test_nobody_comes_in_without_the_key(server):
    root = f"http://127.0.0.1:{server.port}/"
    for place in ("", "form?by=Ada&firing=1", "answer", "x/answer", f"{server.key}x/", server.key):
        told = {"page": "p", "by": "Ada", "firing": 2, "does": "look"}
        for body in (None, told):
            assert fetch(root + place, body)[0] == 404
    for place in ("../server.py", "form.py", "%2e%2e/server.py"):
        assert fetch(server.address + place)[0] == 404
    assert len(server.key) >= 12
    assert GradingServer(server.folder, port=0).key != server.key


def test_too_long_and_odd_requests_are_refused(server):
    assert fetch(f"{server.address}answer", {"does": "x" * 30_000})[0] == 404
    assert fetch(f"{server.address}answer", ["look"])[0] == 422


def test_it_serves_this_machine_alone_unless_asked(folder):
    def host(shared: bool) -> str:
        return GradingServer(folder, shared, port=0)._http.server_address[0]

    assert host(False) == "127.0.0.1"
    assert host(True) == "0.0.0.0"
    first = GradingServer(folder, port=0)
    with pytest.raises(Misuse, match="is taken"):
        GradingServer(folder, port=first.port)


def test_pages_load_and_send_to_nothing_but_the_kit(server):
    """Content Security Policy Level 3: no inline script or style, no other origin."""
    _, page, headers = fetch(f"{server.address}form?by=Ada&firing=1")
    policy = headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy and "unsafe" not in policy
    assert not re.search(r"\s(style|on\w+)\s*=", page)
    assert "http://" not in page and "https://" not in page
    assert headers["Cache-Control"] == "no-store" and headers["Referrer-Policy"] == "no-referrer"


def test_the_recipe_is_hidden_when_grading_is_blind(plan, folder, tmp_path):
    assert patch_shown(Grading(folder, "Ada", 1))["recipe"] == ""
    open_one = plan(blind=False).write(tmp_path / "shown" / "trial")
    assert " over " in patch_shown(Grading(open_one, "Ada", 1))["recipe"]


def test_names_are_text_in_the_form(plan, tmp_path):
    nasty = "<img src=x onerror=alert(1)>'\"&"
    series = plan(blind=False, title=nasty, graders=(nasty,))
    written = series.write(tmp_path / "n" / "trial")
    for page in (form_page(Grading(written, nasty, 1)), welcome_page(series, (nasty,))):
        assert "<img" not in page and nasty in unescape(page)


def test_every_step_has_its_picture_and_its_words(plan, tmp_path):
    gloss = Scale("gloss", "Gloss", "How does it shine?", ("matt", "silk", "satin", "wet", "glass"))
    series = plan(scales=(*plan().settings.scales, gloss))
    page = form_page(Grading(series.write(tmp_path / "trial"), "Ada", 1))
    assert page.count("data-grade=") == 15 and page.count("<svg") == 10
    for scale in series.settings.scales:
        assert scale.question in unescape(page)
        for grade, step in enumerate(scale.steps):
            assert f"aria-label='{grade} {step} ({scale.title})'" in page.replace("&#x27;", "'")


def test_the_picture_of_a_striped_tile_has_its_seams_and_small_patches():
    """Three stripes of 50 mm with patches of 10 mm, three rows; place 4 begins the second row."""
    settings = Settings("Striped", "Which?", stripes=3, small_stencil_mm=10)
    striped, single = tile_picture(settings, 4, stripes=3), tile_picture(settings, 4)
    assert striped.count("<path") == 2 and single.count("<path") == 0
    assert striped.count("<text") == 9 and single.count("<text") == 4
    assert "Place 4 on the tile" in striped and striped.count("fill='#222' stroke") == 1


def test_a_series_that_is_not_planned_is_not_served(series, tmp_path):
    bare = replace(series, tiles=series.tiles[:0], patches=series.patches[:0])
    with pytest.raises(Misuse, match="no tiles yet"):
        GradingServer(bare.write(tmp_path / "trial"))


def test_a_camera_reads_the_address_from_the_square():
    """ISO/IEC 18004, decoded by OpenCV's own reader."""
    address = "http://192.168.178.22:8642/xd6wvdhya8sx/"
    lines = _camera_square(address).splitlines()
    upper, lower = ("█▀", "█▄")
    rows = [[sign in half for sign in line] for line in lines for half in (upper, lower)]
    picture = np.kron(np.array(rows), np.ones((8, 8))).astype(np.uint8) * 255
    assert cv2.QRCodeDetector().detectAndDecode(picture)[0] == address
