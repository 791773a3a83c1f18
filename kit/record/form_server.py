"""The form served to browsers on this machine, or to the phones and tablets of a studio.

A small server of the standard library's. Its address holds a key that nobody can guess, so that no
other page in the browser and no other person in the network can write grades; pages come with a
policy that lets them load and send to nothing but this server. What is tapped is on disk before
the answer goes out.
"""

import json
import secrets
import socket
import sys
import threading
from collections.abc import Callable, Mapping, Sequence
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import cv2
import numpy as np

from kit.errors import DataProblems, Misuse
from kit.record.grading import Grading
from kit.record.grading_page import form_page, notice_page, patch_shown, welcome_page
from kit.series import read_series

_THIS_MACHINE, _EVERY_NETWORK = "127.0.0.1", "0.0.0.0"
_PORTS = (*range(8642, 8652), 0)
"""The first that is free is taken; 0 lets the system choose. What a page could not send waits in
the browser for the same port, so that it is sent when the form is opened again."""

_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
_KEY_LENGTH = 12
_MOST_BYTES = 20_000
_PATIENCE_S = 60
_FILES = {"form.css": "text/css; charset=utf-8", "form.js": "text/javascript; charset=utf-8"}
_HTML, _JSON = "text/html; charset=utf-8", "application/json"
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src data:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'self' http://localhost:* http://127.0.0.1:*"
)
"""A notebook on this machine may frame the form; nobody else."""


class GradingServer:
    """Serves the form of one series until it is stopped.

    Parameters
    ----------
    folder : Path
        Of the series.
    shared : bool
        Whether other devices in the network may come in; otherwise this machine alone.
    port : int, optional
        The first free one of a few when left out.

    Raises
    ------
    Misuse
        When the series cannot be graded yet, or the port is taken.
    """

    def __init__(self, folder: Path | str, shared: bool = False, port: int | None = None) -> None:
        self.folder = Path(folder).resolve()
        series = read_series(self.folder)
        if series.patches.empty:
            raise Misuse(f"{series.name} has no tiles yet. Plan it first: kit plan {series.name}")
        self.key = "".join(secrets.choice(_LETTERS) for _ in range(_KEY_LENGTH))
        self._forms: dict[tuple[str, str, int], _OpenForm] = {}
        self._lock = threading.Lock()
        ports = _PORTS if port is None else (port,)
        self._http = _bound(_EVERY_NETWORK if shared else _THIS_MACHINE, ports, self)

    @property
    def port(self) -> int:
        return int(self._http.server_address[1])

    @property
    def address(self) -> str:
        """Where this machine's browser finds the form."""
        return f"http://{_THIS_MACHINE}:{self.port}/{self.key}/"

    def invitation(self) -> str:
        """Say where other devices in the network find it, with a square for their cameras."""
        address = f"http://{_own_address()}:{self.port}/{self.key}/"
        return (
            f"On a phone or tablet in the same network: {address}\n{_camera_square(address)}\n"
            "Whoever has this address can grade. What is sent is not encrypted: share it only in "
            "a network that you trust."
        )

    def serve(self) -> None:
        """Serve until interrupted."""
        try:
            self._http.serve_forever()
        finally:
            self._http.server_close()

    def start(self) -> "GradingServer":
        """Serve in the background."""
        threading.Thread(target=self.serve, name="grading form", daemon=True).start()
        return self

    def stop(self) -> None:
        self._http.shutdown()

    def welcome(self) -> str:
        """Page to choose grader and firing."""
        series = read_series(self.folder)
        graders = series.settings.graders or tuple(sorted(set(series.grades["grader"])))
        return welcome_page(series, graders)

    def form(self, by: str, firing: str) -> str:
        """Page to grade on."""
        return form_page(Grading(self.folder, by, _whole(firing)))

    def answer(self, told: Mapping[str, Any]) -> dict[str, Any]:
        """Do what a page asks, and return what it is to show then."""
        page, by, firing = str(told.get("page", "")), str(told.get("by", "")), told.get("firing")
        key = (page, by, _whole(firing))
        with self._lock:
            if key not in self._forms:
                self._forms[key] = _OpenForm(Grading(self.folder, by, key[2]))
            form = self._forms[key]
        return form.answer(told)

    def _repr_html_(self) -> str:
        return (
            f"<iframe src='{self.address}' title='Grading form' width='100%' height='760' "
            "style='border: 1px solid #999; max-width: 1100px'></iframe>"
            f"<p>The form by itself: <a href='{self.address}' target='_blank' rel='noopener'>"
            f"{self.address}</a></p>"
        )


def grading_form(folder: Path | str) -> GradingServer:
    """Serve the form from a notebook, which shows it below the cell; it ends with the notebook."""
    return GradingServer(folder).start()


class _OpenForm:
    """One page in one browser: its own place in the order, its own answers to take back."""

    def __init__(self, grading: Grading) -> None:
        self.grading = grading
        self._lock = threading.Lock()
        self._last: str | None = None

    def answer(self, told: Mapping[str, Any]) -> dict[str, Any]:
        with self._lock:
            number = told.get("number")
            if number is None or number != self._last:
                self._do(told)
                self._last = number
            return patch_shown(self.grading)

    def _do(self, told: Mapping[str, Any]) -> None:
        grading, does = self.grading, told.get("does")
        if "patch" in told:
            grading.go_to(str(told["patch"]))
        doing: dict[Any, Callable[[], None]] = {
            "look": grading.refresh,
            "grade": lambda: grading.grade(str(told.get("scale")), _whole(told.get("value"))),
            "note": lambda: grading.note(str(told.get("value", ""))),
            "lost": lambda: grading.lost(str(told.get("value", ""))),
            "undo": grading.undo,
            "back": grading.back,
            "next": grading.forward,
        }
        if does not in doing:
            raise Misuse(f"The form cannot do '{does}'.")
        doing[does]()


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    timeout = _PATIENCE_S
    server: "_Http"

    def do_GET(self) -> None:
        place = self._place()
        asked = parse_qs(urlsplit(self.path).query)
        by, firing = asked.get("by", [""])[0], asked.get("firing", [""])[0]
        if place == "":
            self._page(self.server.owner.welcome)
        elif place == "form":
            self._page(lambda: self.server.owner.form(by, firing))
        elif place in _FILES:
            content = Path(__file__).with_name(place).read_bytes()
            self._send(HTTPStatus.OK, _FILES[place], content)
        else:
            self._send(HTTPStatus.NOT_FOUND, _HTML, notice_page("There is nothing here.").encode())

    def do_POST(self) -> None:
        length = self.headers.get("Content-Length", "")
        if self._place() != "answer" or not length.isdecimal() or int(length) > _MOST_BYTES:
            self.close_connection = True
            self._send(HTTPStatus.NOT_FOUND, _JSON, _problem("The form does not send this."))
            return
        try:
            told = json.loads(self.rfile.read(int(length)))
            if not isinstance(told, dict):
                raise Misuse("The form does not send this.")
            answer = json.dumps(self.server.owner.answer(told)).encode()
        except (Misuse, DataProblems, json.JSONDecodeError, UnicodeDecodeError) as problem:
            self._send(HTTPStatus.UNPROCESSABLE_ENTITY, _JSON, _problem(str(problem)))
        else:
            self._send(HTTPStatus.OK, _JSON, answer)

    def _place(self) -> str | None:
        """Return what is asked for, after the key; None without the right key."""
        key, _, place = urlsplit(self.path).path.removeprefix("/").partition("/")
        known = secrets.compare_digest(key.encode(), self.server.owner.key.encode())
        return place if known and "/" in self.path[1:] else None

    def _page(self, make: Callable[[], str]) -> None:
        try:
            self._send(HTTPStatus.OK, _HTML, make().encode())
        except (Misuse, DataProblems) as problem:
            page = notice_page(str(problem)).encode()
            self._send(HTTPStatus.UNPROCESSABLE_ENTITY, _HTML, page)

    def _send(self, status: HTTPStatus, kind: str, content: bytes) -> None:
        self.send_response(status)
        self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(content)))
        self.send_header("Content-Security-Policy", _POLICY)
        self.send_header("X-Content-Type-Options", "nosniff")
        self.send_header("Referrer-Policy", "no-referrer")
        self.send_header("Cache-Control", "no-store")
        self.end_headers()
        self.wfile.write(content)

    def version_string(self) -> str:
        return "kit"

    def log_message(self, format: str, *args: object) -> None:
        """Keep every request out of the terminal: its address holds the key."""


class _Http(ThreadingHTTPServer):
    daemon_threads = True

    def __init__(self, at: tuple[str, int], owner: GradingServer) -> None:
        self.owner = owner
        super().__init__(at, _Handler)

    def handle_error(self, request: Any, client_address: Any) -> None:
        """Say nothing of a browser that went away in the middle of an answer."""
        if not isinstance(sys.exception(), ConnectionError | TimeoutError):
            super().handle_error(request, client_address)


def _bound(host: str, ports: Sequence[int], owner: GradingServer) -> _Http:
    for port in ports:
        try:
            return _Http((host, port), owner)
        except OSError:
            continue
    raise Misuse(f"Port {ports[0]} of this machine is taken. Leave --port out to use another.")


def _own_address() -> str:
    """Address of this machine in its network. Nothing is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("10.255.255.255", 1))
        except OSError:
            return socket.gethostname()
        return str(probe.getsockname()[0])


def _camera_square(address: str) -> str:
    """Draw an address as a QR code (ISO/IEC 18004) in letters, two rows of it to a line."""
    code = np.pad(cv2.QRCodeEncoder.create().encode(address) > 0, 2, constant_values=True)
    if len(code) % 2:
        code = np.pad(code, ((0, 1), (0, 0)), constant_values=True)
    signs = {(True, True): "█", (True, False): "▀", (False, True): "▄", (False, False): " "}
    return "\n".join(
        "".join(signs[bool(upper), bool(lower)] for upper, lower in zip(*rows, strict=True))
        for rows in zip(code[::2], code[1::2], strict=True)
    )


def _whole(value: object) -> int:
    said = str(value)
    if not said.isdecimal() or len(said) > 6:
        raise Misuse(f"'{said}' is not a whole number.")
    return int(said)


def _problem(text: str) -> bytes:
    return json.dumps({"problem": text}).encode()
