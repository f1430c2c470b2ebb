"""The page's server: the answer, the limits, and who is let in."""

from __future__ import annotations

import json
import re
import socket
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from answers import FakeEye
from page_server import KIND, Phone, form, raw, running
from shapes import encoded, engine
from vision.cli import run
from vision.guide import load_guide
from vision.page import Addresses, Door, Keeper, PageLimits, listen
from vision.page.assets import english, load_assets
from vision.page.desk import plain_name
from vision.page.door import CODE_LENGTH, LETTERS, TRIES, TooManyTries
from vision.page.room import Busy, WaitingRoom
from vision.page.shown import choices, guide_table
from vision.pipeline import load_eye
from vision.records import ArchiveError, Cue, PageError, State

ROOT = Path(__file__).parent.parent
DEMO = ROOT / "demo_images"
PHOTO = ("engine.png", encoded(engine()))


@pytest.fixture
def phone(port: int) -> Phone:
    phone = Phone(port)
    assert phone.enter().status == 200
    return phone


# --- the answer ------------------------------------------------------------------


def test_the_answer_is_the_commands_own_on_the_same_bytes(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every demo photo, by the shipped networks, with and without statements."""
    names = sorted(path.name for path in DEMO.glob("*.jpg"))
    assert len(names) >= 14
    monkeypatch.chdir(DEMO)
    eye = load_eye()

    def command(*arguments: str) -> list[Any]:
        assert run(["date", "--json", *arguments], load_eye=lambda: eye) == 0
        return [json.loads(line) for line in capsys.readouterr().out.splitlines()]

    with running(eye) as port:
        phone = Phone(port)
        phone.enter()

        def page(*names: str, **fields: Any) -> Any:
            return phone.date(*((n, Path(n).read_bytes()) for n in names), **fields).json["answer"]

        assert [page(name) for name in names] == command(*names)
        # Remembered, not read again, and still the same.
        assert [page(name) for name in names[:2]] == command(*names[:2])
        first, second = (n for n in names if n.startswith("wayfarer_w3") or "w4.jpg" in n)
        said = ["smoke_unit=absent", "cab_number=316"]
        flags = [flag for statement in said for flag in ("--saw", statement)]
        assert [page(first, saw=said)] == command(first, *flags)
        assert [page(first, second)] == command(first, second, "--together")


def test_words_are_those_of_the_report(phone: Phone) -> None:
    shown = phone.date(PHOTO).json["shown"]
    # FakeEye's cues fit W3 of the guide's table: no lever, a linkage.
    assert shown["candidates"][0]["id"] == "W3"
    assert re.fullmatch(r"19\d\d.*", shown["years"])
    assert re.fullmatch(r"[a-z ]+ \((over )?\d+ %\)", shown["sure"])
    assert [cue["name"] for cue in shown["cues"]][:3] == [
        "switch_lever",
        "side_linkage",
        "edge_stripe",
    ]
    assert 1 <= len(shown["looks"]) <= 3


def test_what_is_unclear_counts_and_the_page_says_so() -> None:
    hidden = Cue("switch_lever", State.UNSEEN)
    unclear = Cue("side_linkage", State.UNSEEN, p_present=0.9, clear=1.0, in_sight=True)
    number = Cue("cab_number", State.UNSEEN, values={"322": 0.5}, in_sight=True)
    with running(FakeEye({"engine": (hidden, unclear, number)})) as port:
        phone = Phone(port)
        phone.enter()
        cues = {cue["name"]: cue for cue in phone.date(PHOTO).json["shown"]["cues"]}
    assert cues["switch_lever"]["speaks"] == "changes_nothing"
    assert cues["side_linkage"]["speaks"] in ("for", "against")
    assert cues["cab_number"]["reading"] == "unclear, perhaps 322 (50 %)"
    assert cues["cab_number"]["speaks"] in ("for", "against")


def test_a_button_changes_the_answer_and_a_skipped_look_goes(phone: Phone) -> None:
    before = phone.date(PHOTO).json["shown"]
    look = before["looks"][0]
    after = phone.date(PHOTO, saw=[look["choices"][0]["saw"]]).json["shown"]
    assert look["name"] not in [other["name"] for other in after["looks"]]
    assert after["candidates"] != before["candidates"]
    skipped = phone.date(PHOTO, skip=[look["name"]]).json["shown"]
    assert skipped["candidates"] == before["candidates"]
    assert look["name"] not in [other["name"] for other in skipped["looks"]]


def test_every_choice_is_a_statement_that_the_guide_knows(phone: Phone) -> None:
    guide = load_guide()
    names = (
        *("switch_lever", "side_linkage", "edge_stripe", "cab_number"),
        *("driving_axles", "tender_axles", "tender_lamps", "tender_lettering", *guide.check_names),
    )
    for name in names:
        made = choices(guide, name)
        assert len(made) >= 2
        for choice in made:
            if "ask" in choice:
                choice = choice | {"saw": f"{choice['ask']}=2B"}
            assert phone.date(PHOTO, saw=[choice["saw"]]).status == 200, choice
            assert ("word" in choice) != ("text" in choice)
    assert [c.get("text") for c in choices(guide, "cab_number")] == ["310", "316", "322", None]


def test_a_photo_without_an_engine_is_an_answer() -> None:
    with running(FakeEye({"engine": None})) as port:
        phone = Phone(port)
        phone.enter()
        reply = phone.date(PHOTO)
        assert reply.status == 200
        assert reply.json["answer"]["not_found"] == "nothing like a locomotive"
        assert reply.json["shown"]["found"] is False
        assert reply.json["shown"]["looks"] == []


def test_the_guide_as_a_table(phone: Phone) -> None:
    table = phone.ask("GET", "/guide").json
    assert table == guide_table(load_guide())
    row = next(row for row in table["rows"] if row["id"] == "W6")
    assert row["cells"]["edge_stripe"] == "red"
    assert row["cells"]["cab_number"] == "322"
    assert row["cells"]["switch_lever"] == "present"
    assert row["cells"]["tender"] == "M"
    assert row["years"] == "1938–1939"


def test_shared_as_one_file_that_needs_nothing_else(phone: Phone) -> None:
    note = "table 7, <script>alert(1)</script>"
    text = phone.date(PHOTO, path="/share", note=[note]).json["html"]
    assert "<script" not in text
    assert "table 7, &lt;script&gt;" in text
    assert text.count("data:image/jpeg;base64,") == 1
    assert "img-src data:" in text
    assert not re.search(r"(src|href)=\"(?!data:)", text)


# --- the limits ------------------------------------------------------------------


def test_each_limit_has_its_refusal() -> None:
    limits = PageLimits(
        photo_bytes=60_000, photo_pixels=200_000, photos=2, request_bytes=90_000, fields=3
    )
    noise = encoded(Image.effect_noise((640, 360), 90).convert("RGB"))
    big = encoded(Image.new("RGB", (640, 360)))
    empty = encoded(Image.new("RGB", (8, 8)))
    with running(limits=limits) as port:
        phone = Phone(port)
        phone.enter()
        assert phone.date(PHOTO).status == 200

        def refused(*photos: tuple[str, bytes], **fields: Any) -> tuple[int, str]:
            reply = phone.date(*photos, **fields)
            return reply.status, reply.json["error"]

        assert refused(("big.png", big)) == (413, "photo_too_large")
        assert refused(("noise.png", noise[:80_000])) == (413, "photo_too_large")
        assert refused(("noise.png", noise)) == (413, "request_too_large")
        assert refused(PHOTO, PHOTO, PHOTO) == (400, "malformed")
        assert refused(PHOTO, saw=["a=b"] * 4) == (400, "malformed")
        assert refused(PHOTO, saw=["nonsense"]) == (422, "statement")
        assert refused(("dot.png", empty)) == (422, "photo_too_small")
        assert refused(("none.png", b"")) == (422, "photo_empty")
        assert refused(("text.jpg", b"dear sir")) == (422, "photo_unreadable")
        assert refused() == (400, "no_photo")


def test_half_a_form_is_not_taken_for_the_whole(phone: Phone) -> None:
    """A second photo that broke off was left out, and the first alone answered."""
    whole = form([PHOTO, ("rear.png", encoded(engine(200, 300)))])
    cut = phone.ask("POST", "/answer", whole[:-400], {"Content-Type": KIND})
    assert (cut.status, cut.json["error"]) == (400, "malformed")


def test_a_stated_length_is_refused_before_the_body(phone: Phone) -> None:
    length = {"Content-Length": str(10**9), "Content-Type": KIND}
    assert phone.ask("POST", "/answer", b"", length).status == 413


def test_a_body_without_a_length_is_counted() -> None:
    with running(limits=PageLimits(request_bytes=10_000, header_s=0.3)) as port:
        phone = Phone(port)
        phone.enter()
        head = {"Transfer-Encoding": "chunked", "Content-Length": None, "Content-Type": KIND}
        lines = [f"Host: localhost:{port}", f"Origin: http://localhost:{port}"]
        lines += [f"{k}: {v}" for k, v in (phone.headers | head).items() if v is not None]
        request = "POST /answer HTTP/1.1\r\n" + "\r\n".join(lines) + "\r\n\r\n"
        chunks = (b"1000\r\n" + b"x" * 0x1000 + b"\r\n") * 4
        answer = raw(port, request.encode() + chunks)
        assert b" 413 " in answer.splitlines()[0]
        # Who never ends the body does not hold the connection either.
        assert b"<still open>" not in answer


def test_slow_heads_and_slow_bodies_are_not_waited_for() -> None:
    with running(limits=PageLimits(header_s=0.3, upload_s=0.3)) as port:
        began = time.monotonic()
        assert raw(port, b"") == b""
        assert raw(port, b"GET / HTTP/1.1\r\nHost: loc") == b""
        # A second request on the same connection is held to the same clock.
        whole = f"GET /nowhere HTTP/1.1\r\nHost: localhost:{port}\r\n\r\n".encode()
        answer = raw(port, whole + b"GET / HT")
        assert answer.startswith(b"HTTP/1.1 404")
        assert b"<still open>" not in answer
        phone = Phone(port)
        phone.enter()
        slow = phone.ask("POST", "/answer", b"--", {"Content-Type": KIND, "Content-Length": "99"})
        assert (slow.status, slow.json["error"]) == (408, "upload_slow")
        assert time.monotonic() - began < 5
        assert phone.date(PHOTO).status == 200


class SlowEye(FakeEye):
    """Reads when it is let."""

    gate = threading.Event()

    def look(self, photo: Any) -> Any:
        assert self.gate.wait(20)
        return super().look(photo)


def test_past_the_end_of_the_queue_the_answer_is_busy() -> None:
    SlowEye.gate.clear()
    with running(SlowEye(), limits=PageLimits(places=3, places_each=2)) as port:
        phones = [Phone(port) for _ in range(3)]
        for phone in phones:
            phone.enter()
        statuses: list[int] = []

        def date(phone: Phone, ticket: str) -> None:
            headers = {"Content-Type": KIND, "X-Telltale-Ticket": ticket}
            statuses.append(phone.ask("POST", "/answer", form([PHOTO]), headers).status)

        threads = []
        for number, phone in enumerate((phones[0], phones[0], phones[1])):
            threads.append(threading.Thread(target=date, args=(phone, f"t{number}")))
            threads[-1].start()
            state = {"state": "unknown"}
            while state["state"] not in ("waiting", "reading"):
                time.sleep(0.01)
                state = phone.ask("GET", f"/turn/t{number}").json
            assert state == {"state": "waiting" if number else "reading", "before": number}
        # Another phone's ticket tells nothing.
        assert phones[2].ask("GET", "/turn/t0").json == {"state": "unknown", "before": 0}
        busy = phones[2].date(PHOTO)
        assert (busy.status, busy.json["error"]) == (503, "busy")
        assert int(busy.headers["retry-after"]) > 0
        SlowEye.gate.set()
        for thread in threads:
            thread.join(20)
        assert statuses == [200, 200, 200]
        assert phones[2].date(PHOTO).status == 200


def test_one_phone_cannot_take_every_place() -> None:
    room = WaitingRoom(places=3, places_each=2)
    held = [room.enter("a", "1"), room.enter("a", "2")]
    with pytest.raises(Busy):
        room.enter("a", "3")
    room.enter("b", "1")
    with pytest.raises(Busy):
        room.enter("c", "1")
    room.leave(held[0])
    room.enter("c", "1")


def test_who_waits_too_long_is_told_and_the_place_is_given_back() -> None:
    SlowEye.gate.clear()
    with running(SlowEye(), limits=PageLimits(answer_s=0.2, places=1)) as port:
        phone = Phone(port)
        phone.enter()
        slow = phone.date(PHOTO)
        assert (slow.status, slow.json["error"]) == (503, "slow")
        # The thread still reads, so the place is not free yet: the truth is "busy".
        assert phone.date(PHOTO).json["error"] == "busy"
        SlowEye.gate.set()
        deadline = time.monotonic() + 10
        while phone.date(PHOTO).status != 200:
            assert time.monotonic() < deadline
            time.sleep(0.02)


# --- who is let in ---------------------------------------------------------------


@pytest.mark.parametrize("host", ["evil.example", "localhost", "localhost:1", "", None])
def test_other_hosts_are_refused(phone: Phone, host: str | None) -> None:
    assert phone.ask("GET", "/start", headers={"Host": host}).status in (400, 421)


@pytest.mark.parametrize("origin", ["http://evil.example", "null", None, "https://localhost"])
def test_other_origins_are_refused(phone: Phone, origin: str | None) -> None:
    headers = {"Content-Type": KIND, "Origin": origin}
    reply = phone.ask("POST", "/answer", form([PHOTO]), headers)
    assert (reply.status, reply.json["error"]) == (403, "origin")


def test_a_request_from_another_site_is_refused(phone: Phone) -> None:
    headers = {"Content-Type": KIND, "Sec-Fetch-Site": "cross-site"}
    assert phone.ask("POST", "/answer", form([PHOTO]), headers).status == 403


@pytest.mark.parametrize("lacking", ["Cookie", "X-Telltale-Token"])
def test_without_session_or_token_nothing_is_answered(phone: Phone, lacking: str) -> None:
    headers = {"Content-Type": KIND, lacking: None}
    for path in ("/answer", "/share"):
        assert phone.ask("POST", path, form([PHOTO]), headers).status == 401
    stranger = Phone(phone.port)
    stranger.enter()
    assert stranger.headers["Cookie"] != phone.headers["Cookie"]
    mixed = {"Content-Type": KIND, lacking: stranger.headers[lacking]}
    assert phone.ask("POST", "/answer", form([PHOTO]), mixed).status == 401


def test_the_cookie_is_for_this_page_alone(port: int) -> None:
    cookie = Phone(port).enter().headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie


@pytest.mark.parametrize(
    "path",
    ["/../pyproject.toml", "/..%2f..%2fpyproject.toml", "/static/page.py", "/words.json"]
    + ["/%2e%2e/%2e%2e/etc/passwd", "//etc/passwd", "/page.css/..", "/..\\page.py", "/.", "/\0"],
)
def test_no_path_leads_out_of_the_page(port: int, path: str) -> None:
    request = f"GET {path} HTTP/1.1\r\nHost: localhost:{port}\r\nConnection: close\r\n\r\n"
    status = raw(port, request.encode()).splitlines()[0]
    assert re.match(rb"HTTP/1.1 (404|400) ", status), status


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "TRACE", "PATCH"])
def test_other_methods_are_refused(phone: Phone, method: str) -> None:
    assert phone.ask(method, "/answer").status == 405
    assert phone.ask("GET", "/answer").status == 405


def test_every_reply_carries_the_policy(phone: Phone) -> None:
    for path in (*load_assets(), "/start", "/nowhere", "/guide"):
        reply = phone.ask("GET", path)
        policy = dict(
            part.strip().split(" ", 1)
            for part in reply.headers["content-security-policy"].split(";")
        )
        assert policy["default-src"] == "'none'"
        assert policy["script-src"] == "'self'"
        assert "unsafe" not in " ".join(policy.values())
        assert reply.headers["x-content-type-options"] == "nosniff"
        assert "server" not in reply.headers
    assert phone.ask("GET", "/", headers={"Host": "evil"}).headers["content-security-policy"]


def test_a_fault_shows_no_trace(caplog: pytest.LogCaptureFixture) -> None:
    class Broken(FakeEye):
        def look(self, photo: Any) -> Any:
            raise ZeroDivisionError("a secret of the house")

    with running(Broken()) as port:
        phone = Phone(port)
        phone.enter()
        reply = phone.date(PHOTO)
        assert (reply.status, reply.json) == (500, {"error": "fault"})
        assert phone.ask("GET", "/start").status == 200
    assert "a secret of the house" in caplog.text


def test_with_a_code_one_phone_enters_and_the_next_needs_another() -> None:
    shown: list[str] = []
    with running(door=Door(with_code=True, on_code=shown.append)) as port:
        phone, other = Phone(port), Phone(port)
        assert phone.enter().status == 401
        assert phone.ask("GET", "/guide").status == 401
        assert phone.ask("GET", "/").status == 200  # the bare page asks for the code
        assert phone.enter("nonsense").status == 403
        assert phone.enter(shown[0].lower()).status == 200
        assert phone.date(PHOTO).status == 200
        assert other.enter(shown[0]).status == 403
        assert len(shown) == 2
        assert other.enter(shown[1]).status == 200
        assert phone.date(PHOTO).status == 200


def test_guessing_is_slowed_for_the_guesser_alone() -> None:
    now = [0.0]
    door = Door(with_code=True, clock=lambda: now[0])
    assert len(door.code) == CODE_LENGTH
    assert set(door.code) <= set(LETTERS)
    for _ in range(TRIES):
        assert door.enter("WRONG", "10.0.0.9") is None
    with pytest.raises(TooManyTries):
        door.enter(door.code, "10.0.0.9")
    assert door.enter(door.code, "10.0.0.8")
    now[0] = 61.0
    assert door.enter(door.code, "10.0.0.9")


def test_the_door_forgets_who_was_away_longest() -> None:
    door = Door(with_code=False, sessions=2)
    first, second = door.enter("", ""), door.enter("", "")
    assert first and second and door.knows(first)
    third = door.enter("", "")
    assert third and door.knows(first) and door.knows(third)
    assert not door.knows(second)
    assert not door.token_fits(second, door.token(second))


def test_only_this_machine_unless_asked() -> None:
    sockets, port = listen(0, None)
    try:
        assert [sock.getsockname()[0] for sock in sockets] == ["127.0.0.1"]
        with pytest.raises(PageError, match=f"port {port}"):
            listen(port, None)
    finally:
        for sock in sockets:
            sock.close()
    assert set(Addresses(80, "192.168.0.7").hosts) >= {"192.168.0.7", "192.168.0.7:80"}
    assert "192.168.0.7" not in " ".join(Addresses(8377).hosts)
    with pytest.raises(PageError):
        listen(70_000, None)


def test_https_with_a_certificate_made_on_the_spot() -> None:
    import hashlib
    import ssl

    from vision.page.certificate import make_certificate

    context, fingerprint = make_certificate(("127.0.0.1",))
    ours, theirs = socket.socketpair()
    client = ssl.create_default_context()
    client.check_hostname, client.verify_mode = False, ssl.CERT_NONE
    thread = threading.Thread(
        target=lambda: context.wrap_socket(ours, server_side=True).close(), daemon=True
    )
    thread.start()
    with client.wrap_socket(theirs) as secured:
        der = secured.getpeercert(binary_form=True)
    thread.join(10)
    assert der is not None
    # SHA-256 over the DER form is what browsers show as a certificate's fingerprint.
    assert hashlib.sha256(der).hexdigest() == fingerprint.replace(":", "")


# --- words and files -------------------------------------------------------------


@pytest.mark.parametrize(
    ("name", "plain"),
    [
        ("../../etc/passwd", "passwd"),
        ("C:\\a\\engine.jpg", "engine.jpg"),
        ("..", "photo"),
        ("", "photo"),
        ("a\nb\x1b[31m.jpg", "ab[31m.jpg"),
        ("\u202egpj.exe", "gpj.exe"),
        ("x" * 300, "x" * 80),
    ],
)
def test_file_names_are_made_plain(name: str, plain: str) -> None:
    assert plain_name(name) == plain


def test_every_string_is_in_one_place() -> None:
    words = english()
    folder = ROOT / "vision" / "page" / "static"
    scripts = {path.name: path.read_text("utf-8") for path in folder.glob("*.js")}
    used = {key for text in scripts.values() for key in re.findall(r'\bsay\(\s*"(\w+)"', text)}
    used |= set(re.findall(r"\{\{(\w+)\}\}", (folder / "page.html").read_text("utf-8")))
    assert used <= set(words)
    # Whatever code a refusal carries, there are words for it.
    source = "".join(path.read_text("utf-8") for path in (ROOT / "vision" / "page").glob("*.py"))
    codes = set(re.findall(r'(?:refusal|Refused)\(\s*\w+, "(\w+)"', source))
    codes |= set(re.findall(r'return \d{3}, "(\w+)"', source))
    codes |= set(re.findall(r', \d{3}, "(\w+)"\)', source))
    assert {"busy", "host", "photo_empty", "upload_slow"} <= codes
    assert {f"error_{code}" for code in codes} <= set(words)
    # No text but figures stands in the page's own mark-up.
    html = re.sub(r"<[^>]*>", "", (folder / "page.html").read_text("utf-8"))
    assert re.sub(r"\{\{(\w+|\*)\}\}|[\d\s]", "", html) == ""


def test_words_cannot_become_markup() -> None:
    words = english() | {"snap": "</script><b>&", "title": '"quoted"'}
    assets = load_assets(words)
    page = assets["/"].content.decode()
    assert "</script><b>" not in page
    block = page.partition('id="words">')[2].partition("</script>")[0]
    assert json.loads(block) == words
    assert json.loads(assets["/telltale.webmanifest"].content)["name"] == '"quoted"'


def test_nothing_comes_from_outside() -> None:
    for path, asset in load_assets().items():
        found = re.findall(
            r"(?:https?:)?//[\w.-]+", re.sub(r"//[^\n]*\n", "\n", asset.content.decode())
        )
        assert set(found) <= {"http://www.w3.org", "https://www.w3.org"}, path


def test_unchanged_files_are_not_sent_again(port: int) -> None:
    phone = Phone(port)
    first = phone.ask("GET", "/page.css")
    again = phone.ask("GET", "/page.css", headers={"If-None-Match": first.headers["etag"]})
    assert (first.status, again.status, again.body) == (200, 304, b"")


# --- the archive -----------------------------------------------------------------


def test_nothing_is_kept_unless_asked(phone: Phone) -> None:
    assert phone.ask("GET", "/start").json["archive"] is False
    assert phone.date(PHOTO, path="/keep").status == 404


def test_saved_like_any_other_photo_of_the_archive(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`telltale tag` afterwards finds nothing left to do, and `find` finds the engine."""
    eye = FakeEye()
    keeper = Keeper(tmp_path, load_guide(), eye)
    rear = ("../rear.jpg", encoded(engine(200, 300), "JPEG"))
    with running(eye, keeper=keeper) as port:
        phone = Phone(port)
        assert phone.enter().json["archive"] is True
        fields = {"note": ["table 7"], "saw": ["cab_number=316"]}
        kept = phone.date(PHOTO, rear, path="/keep", **fields).json
        again = phone.date(PHOTO, path="/keep").json
        bad = phone.date(("a.jpg", b"no photo"), path="/keep")
    assert kept["tagged"] and again["tagged"]
    assert bad.status == 422
    folder = tmp_path / kept["kept"]
    assert re.fullmatch(r"from-the-page/\d{4}-\d\d-\d\d/engine-1", kept["kept"])
    assert again["kept"].endswith("engine-2")
    names = {path.name for path in folder.iterdir()}
    assert {"photo-1.png", "photo-2.jpg", "note.txt"} < names
    assert (folder / "photo-1.png").read_bytes() == PHOTO[1]
    assert (folder / "note.txt").read_text() == "table 7\n--saw cab_number=316\n"
    sidecars = sorted(path.name for path in folder.glob("*.xmp"))
    assert len(sidecars) == 2
    assert [p.name for p in folder.parent.iterdir() if p.name.startswith(".")] == []
    capsys.readouterr()
    assert run(["tag", str(tmp_path), "--jobs", "1"], load_eye=lambda: eye) == 0
    assert "0 looked at" in capsys.readouterr().out
    assert run(["find", "1930..1939", "--dir", str(tmp_path)], load_eye=lambda: eye) == 0
    assert f"{kept['kept']}/photo-1.png" in capsys.readouterr().out


def test_a_busy_archive_still_takes_the_photos(tmp_path: Path) -> None:
    from vision.archive.files import sole_run

    keeper = Keeper(tmp_path, load_guide(), FakeEye())
    with (
        running(keeper=keeper) as port,
        sole_run(tmp_path, tmp_path / ".telltale" / "index.sqlite"),
    ):
        phone = Phone(port)
        phone.enter()
        kept = phone.date(PHOTO, path="/keep").json
    assert kept["tagged"] is False
    assert (tmp_path / kept["kept"] / "photo-1.png").exists()
    assert keeper.tag()
    assert list((tmp_path / kept["kept"]).glob("*.xmp"))


def test_an_archive_that_is_not_there(tmp_path: Path) -> None:
    keeper = Keeper(tmp_path / "none", load_guide(), FakeEye())
    with pytest.raises(ArchiveError):
        keeper.tag()


# --- the documents ---------------------------------------------------------------


def test_the_limits_in_the_readme_are_the_pages_own() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    section = readme.partition("## At a show")[2].partition("\n## ")[0]
    limits = PageLimits()
    for text in (
        f"more than {limits.photos} photos",
        f"{limits.photo_bytes // 10**6} MB or {limits.photo_pixels // 10**6} megapixels a photo",
        f"{limits.request_bytes // 10**6} MB a request",
        f"more than {limits.upload_s:.0f} seconds",
        f"past {limits.places}, or {limits.places_each} of one phone",
        f"the last {limits.looks} photos",
    ):
        assert text in section
    shrink = (ROOT / "vision" / "page" / "static" / "shrink.js").read_text(encoding="utf-8")
    (side,) = re.findall(r"const SIDE = (\d+);", shrink)
    assert f"shrinks large photos to {side} pixels" in section


def test_without_its_extra_the_page_says_what_to_install() -> None:
    code = (
        "import sys\nsys.modules['starlette'] = None\n"
        "from vision.cli import run\nsys.exit(run(['page']))"
    )
    result = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False
    )
    assert result.returncode == PageError.exit_code
    assert "telltale-vision[page]" in result.stderr
    assert result.stderr.count("\n") == 1
