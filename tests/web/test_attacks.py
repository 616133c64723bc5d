"""What must not work, tried: strangers, replayed codes, pages of others, false names, files that are too much."""

from __future__ import annotations

import io
import itertools
import re
import time
import tracemalloc
import zipfile

import numpy as np
import pytest
from tests.files.part_files import binary_stl
from tests.web.bench import PHONE, Visitor, paired_phone

from vatwright.interfaces.web import pairing
from vatwright.interfaces.web import uploads as tray
from vatwright.interfaces.web.page_list import PAGES
from vatwright.interfaces.web.security import SMALL_BODY

TETRAHEDRON = np.array([[0, 0, 0], [10, 0, 0], [0, 10, 0], [0, 0, 10]], dtype=float)[
    [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]
]
PART = binary_stl(TETRAHEDRON)


def _routes(routes, prefix=""):
    """The path and the methods of every route, those of routers within too."""
    for route in routes:
        if hasattr(route, "original_router"):
            yield from _routes(route.original_router.routes, prefix + route.include_context.prefix)
        else:
            yield prefix + route.path, route.methods


def addresses(app):
    """Every address of the pages and of the programs' interface, with each method."""
    for page in PAGES:
        for path, methods in _routes(page.router.routes):
            yield from ((m, re.sub(r"\{\w+\}", "x", path)) for m in methods - {"HEAD"})
    for path, item in app.openapi()["paths"].items():
        yield from ((m.upper(), re.sub(r"\{\w+\}", "x", path)) for m in item)
    yield "GET", "/api/v1/openapi.json"


# --- strangers --------------------------------------------------------------------------------------------------------


def test_an_unpaired_phone_reads_and_changes_nothing(app):
    """RFC 9110, 15.5.4: 403 where the server understands and refuses."""
    tried = list(addresses(app))
    assert len(tried) > 20
    for method, path in tried:
        assert Visitor(app, PHONE)(method, path).status_code == 403, (method, path)


def test_a_paired_phone_comes_in_and_a_made_up_session_does_not(app):
    assert paired_phone(app).get("/carry").status_code == 200
    liar = Visitor(app, PHONE)
    liar.cookies.set("bench_8423", "x" * 43, domain="127.0.0.1")
    assert liar.get("/carry").status_code == 403


def test_the_cookie_is_hidden_from_scripts_and_from_other_sites(app):
    """RFC 6265bis, 4.1.2: HttpOnly, SameSite=Strict."""
    answer = Visitor(app, PHONE).post(f"/pair/{app.state.desk.pairing.new_code()}")
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie


def test_a_request_handed_on_by_another_program_does_not_sit_at_the_desk(app):
    for header in ("x-forwarded-for", "forwarded", "via", "x-real-ip"):
        assert Visitor(app).get("/", headers={header: "127.0.0.1"}).status_code == 403, header
    claims = {"x-forwarded-for": "127.0.0.1"}
    assert Visitor(app, PHONE).get("/", headers=claims).status_code == 403


def test_a_code_can_be_typed_and_the_phone_has_a_name_that_lasts(app):
    """RFC 6265bis, 4.1.2.2: a cookie with Max-Age outlives the browser being closed."""
    code, phone = app.state.desk.pairing.new_code(), Visitor(app, PHONE)
    assert phone.get("/pair/here").status_code == 200
    typed = f" {code[:4].lower()}-{code[4:]} "
    answer = phone.post("/pair/here", data={"code": typed, "name": "<b>Heron</b> phone"})
    assert answer.status_code == 303
    assert "max-age=604800" in answer.headers["set-cookie"].lower()
    assert [name for _, name in app.state.desk.pairing.phones()] == ["<b>Heron</b> phone"]
    assert "&lt;b&gt;Heron&lt;/b&gt; phone" in Visitor(app).get("/pair").text


def test_all_addresses_together_cannot_guess_a_typed_code(app):
    """40 bits, 200 tries in five minutes: one in five thousand million."""
    for n in range(pairing.ALL_TRIES):
        guess = Visitor(app, f"198.51.100.{n % 250}").post("/pair/here", data={"code": "AAAAAAAA"})
        assert guess.status_code in (403, 429)
    code = app.state.desk.pairing.new_code()
    assert Visitor(app, PHONE).post("/pair/here", data={"code": code}).status_code == 429


def test_a_phone_lets_no_other_phone_in(app):
    phone = paired_phone(app)
    token = phone.token()
    assert phone.get("/pair").status_code == 403
    assert phone.post("/pair", data={"token": token}).status_code == 403


# --- codes ------------------------------------------------------------------------------------------------------------


def test_a_code_works_once(app):
    code = app.state.desk.pairing.new_code()
    assert Visitor(app, PHONE).post(f"/pair/{code}").status_code == 303
    replayed = Visitor(app, "192.0.2.8")
    assert replayed.post(f"/pair/{code}").status_code == 403
    assert replayed.get("/").status_code == 403


def test_looking_at_a_code_does_not_spend_it(app):
    code = app.state.desk.pairing.new_code()
    phone = Visitor(app, PHONE)
    assert "Join" in phone.get(f"/pair/{code}").text
    assert phone.get("/").status_code == 403
    assert phone.post(f"/pair/{code}").status_code == 303
    assert phone.get("/").status_code == 200


def test_a_code_holds_five_minutes(bench):
    app, clock = bench
    code = app.state.desk.pairing.new_code()
    clock.now += 300.0
    assert Visitor(app, PHONE).post(f"/pair/{code}").status_code == 403


def test_guessing_is_slowed_down_for_one_address_only(bench):
    app, clock = bench
    guesser = Visitor(app, PHONE)
    answers = [guesser.post(f"/pair/guess{n}").status_code for n in range(pairing.TRIES + 2)]
    assert answers == [403] * pairing.TRIES + [429] * 2
    code = app.state.desk.pairing.new_code()
    assert guesser.post(f"/pair/{code}").status_code == 429
    assert Visitor(app, "192.0.2.8").post(f"/pair/{code}").status_code == 303
    clock.now += pairing.TRIES_S + 1
    assert guesser.post(f"/pair/{app.state.desk.pairing.new_code()}").status_code == 303


def test_a_phone_sent_away_stays_away_and_sessions_end(bench, desk):
    app, clock = bench
    phone, other = paired_phone(app), paired_phone(app)
    (handle, name), _ = app.state.desk.pairing.phones()
    assert PHONE in name
    assert desk.post("/pair", data={"token": desk.token("/pair"), "unpair": handle}).status_code == 303
    assert phone.get("/").status_code == 403
    assert other.get("/").status_code == 200
    clock.now += pairing.SESSION_S + 1
    assert other.get("/").status_code == 403


def test_a_bench_for_this_computer_alone_makes_no_codes(monkeypatch):
    from tests.web.bench import opened

    app, _ = opened(wide=False)
    desk = Visitor(app)
    assert "--phones" in desk.get("/pair").text
    assert desk.post("/pair", data={"token": desk.token()}).status_code == 409
    app.state.desk.close()


# --- pages of others --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "https://127.0.0.1:8423"},
        {"origin": "http://127.0.0.1:9999"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_a_page_of_others_changes_nothing(app, desk, headers):
    """WHATWG Fetch: a browser names the origin and the relation of the page that posts."""
    token = desk.token()
    before = len(app.state.desk.carries())
    assert desk.post("/carry/demo", data={"token": token}, headers=headers).status_code == 403
    assert desk.post("/api/v1/level", json={}, headers=headers).status_code == 403
    assert len(app.state.desk.carries()) == before


def test_every_change_by_a_page_needs_the_token_of_a_page(app, desk):
    desk.get("/")
    changes = [(m, p) for m, p in addresses(app) if m != "GET" and not p.startswith("/api/")]
    assert len(changes) >= 7
    for method, path in changes:
        for data in ({}, {"token": ""}, {"token": "0" * 64}, {"token": "\u00e9"}):
            assert desk(method, path, data=data).status_code == 403, (path, data)


def test_a_token_is_of_one_visitor_only(app, desk):
    other = Visitor(app)
    desk.get("/")
    assert desk.post("/carry/demo", data={"token": other.token()}).status_code == 403
    assert desk.post("/carry/demo", data={"token": desk.token()}).status_code == 303


def test_what_a_form_of_others_can_send_is_not_taken_by_the_interface_for_programs(desk):
    """A form needs no leave to send these kinds (WHATWG Fetch, CORS-safelisted request-header)."""
    asked = b'{"level": {"machine": "Wren"}, "reading": [{"x_mm": 0, "y_mm": 0, "gap_um": 100}]}'
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"):
        answer = desk.post("/api/v1/level", content=asked, headers={"content-type": kind})
        assert answer.status_code == 415, kind
        assert desk.post("/api/v1/files?name=a.stl", content=PART, headers={"content-type": kind}).status_code == 415


@pytest.mark.parametrize(
    "name", ["evil.example", "evil.example:8423", "127.0.0.1.evil.example", "", "[::1", "desk.local"]
)
def test_a_name_that_can_be_pointed_elsewhere_is_no_name_of_the_bench(app, name):
    """DNS rebinding: a name of others that resolves to this computer."""
    assert Visitor(app).get("/", headers={"host": name}).status_code == 421


@pytest.mark.parametrize("name", ["localhost:8423", "127.0.0.1:8423", "[::1]:8423", "192.0.2.1:8423"])
def test_the_bench_goes_by_numbers_and_as_localhost(app, name):
    assert Visitor(app).get("/", headers={"host": name}).status_code == 200


# --- what comes back --------------------------------------------------------------------------------------------------


def test_every_answer_carries_the_policy(app, desk):
    """CSP 3 and X-Content-Type-Options; answers to refusals and faults too."""
    stranger = Visitor(app, PHONE)
    for answer in (desk.get("/"), desk.get("/nothing"), desk.get("/static/bench.css"), stranger.get("/")):
        policy = answer.headers["content-security-policy"]
        assert "default-src 'self'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"


def test_a_fault_says_nothing_of_our_insides(app, desk, monkeypatch):
    def broken(_self):
        raise RuntimeError("a secret path")

    monkeypatch.setattr(type(app.state.desk), "shop", broken)
    page, api = desk.get("/"), desk.get("/api/v1")
    assert page.status_code == api.status_code == 500
    assert api.headers["content-type"] == "application/problem+json"
    assert "secret" not in page.text + api.text
    assert "default-src 'self'" in page.headers["content-security-policy"]


# --- files ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("given", "label"),
    [
        ("../../etc/passwd.stl", "passwd.stl"),
        ("C:\\Windows\\lid.stl", "lid.stl"),
        ("/srv/a.stl", "a.stl"),
        ("..stl", None),
    ],
)
def test_a_path_in_a_file_name_leads_nowhere(app, desk, given, label):
    answer = desk.hand_in(given, PART)
    folder = app.state.desk.tray.folder
    if label is None:
        assert answer.status_code == 422
        assert list(folder.iterdir()) == []
        return
    assert label in desk.get(answer.headers["location"]).text
    (file,) = folder.iterdir()
    assert re.fullmatch(r"[A-Za-z0-9_-]{16}\.stl", file.name)


def test_no_file_of_the_computer_can_be_named_as_a_part(desk, tmp_path):
    (tmp_path / "own.stl").write_bytes(PART)
    for handle in (str(tmp_path / "own.stl"), "../own.stl", "/etc/passwd", "demo-../shop"):
        asked = {"part": [{"file": handle, "unit": "mm"}]}
        answer = desk.post("/api/v1/study", json=asked)
        assert answer.status_code == 422
        assert "tray" in answer.json()["mistakes"][0]["what"]


def test_a_script_in_a_name_is_a_name(app, desk):
    name = "<img src=x onerror=alert(1)>\"'.stl"
    answer = desk.hand_in(name, PART)
    page = desk.get(answer.headers["location"]).text
    assert "<img" not in page
    assert "&lt;img src=x onerror=alert(1)&gt;" in page
    for path in ("/level?machine=%3Cscript%3E&x=0&y=0&gap=%3Cscript%3E", "/calc/disc_torsion?radius_mm=%3Cscript%3E"):
        found = desk.get(path)
        assert found.status_code == 422
        assert "<script>" not in found.text


def test_a_body_beyond_the_limit_is_refused_before_it_is_read(app, desk):
    """RFC 9110, 15.5.14: 413."""
    for path, most in (("/carry/parts", tray.MOST_BYTES + 2**21), ("/api/v1/level", SMALL_BODY + 1)):
        answer = desk.post(path, content=b"", headers={"content-length": str(most)})
        assert answer.status_code == 413, path
    assert desk.post("/api/v1/level", content=b"", headers={"content-length": "-1"}).status_code == 413


@pytest.mark.parametrize("path", ["/api/v1/level", "/carry/demo"])
def test_a_body_that_hides_its_length_is_counted(app, desk, path):
    sent = 0

    async def endless():
        nonlocal sent
        while True:
            sent += 65_536
            yield b" " * 65_536

    headers = {"content-type": "application/x-www-form-urlencoded" if path == "/carry/demo" else "application/json"}
    assert desk.post(path, content=endless(), headers=headers).status_code == 413
    assert sent <= SMALL_BODY + 2 * 65_536


def test_a_file_beyond_the_limit_leaves_nothing_behind(app, desk, monkeypatch):
    monkeypatch.setattr(tray, "MOST_BYTES", 100)
    assert desk.hand_in("large.stl", PART).status_code == 422
    assert list(app.state.desk.tray.folder.iterdir()) == []


def test_the_tray_forgets_the_oldest_when_full(app, desk, monkeypatch):
    monkeypatch.setattr(tray, "MOST_FILES", 3)
    for n in range(5):
        assert desk.hand_in(f"part{n}.stl", PART).status_code == 303
    assert len(list(app.state.desk.tray.folder.iterdir())) == 3


def test_a_bomb_is_told_and_does_no_harm(desk):
    """A 3MF whose model unpacks to 256 MB of blanks, a thousand times its size."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as parcel:
        parcel.writestr("[Content_Types].xml", "<Types/>")
        with parcel.open("3D/3dmodel.model", "w") as model:
            for _ in range(256):
                model.write(b" " * 2**20)
    handed = desk.post(
        "/api/v1/files?name=bomb.3mf", content=packed.getvalue(), headers={"content-type": "application/octet-stream"}
    )
    assert handed.status_code == 201
    begun = desk.post("/api/v1/study", json={"part": [{"file": handed.json()["file"]}]})
    assert begun.status_code == 202
    found = _ended(desk, begun.headers["location"])
    assert found["state"] == "failed"
    result = desk.get(begun.headers["location"] + "/result")
    assert result.status_code == 422
    assert "bomb.3mf" in result.json()["mistakes"][0]["where"]
    assert str(desk.app.state.desk.tray.folder) not in result.text


MODEL = (
    '{head}<model unit="millimeter" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">{body}</model>'
)


def packed(model, name="3D/3dmodel.model"):
    """A 3MF parcel with that model in it."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as parcel:
        parcel.writestr("[Content_Types].xml", "<Types/>")
        parcel.writestr(name, model)
    return out.getvalue()


def studied(desk, name, content):
    """What is told about a part that is handed in and studied, and how many bytes of ours grew meanwhile."""
    octets = {"content-type": "application/octet-stream"}
    handed = desk.post(f"/api/v1/files?name={name}", content=content, headers=octets)
    if handed.status_code == 422:  # refused by its first bytes and its length, before it is kept
        assert name in handed.json()["mistakes"][0]["where"]
        return handed.text, 0
    assert handed.status_code == 201
    part = {"file": handed.json()["file"]} | ({} if name.endswith("3mf") else {"unit": "mm"})
    begun = desk.post("/api/v1/study", json={"part": [part]})
    tracemalloc.start()
    found = _ended(desk, begun.headers["location"])
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert found["state"] == "failed"
    result = desk.get(begun.headers["location"] + "/result")
    assert result.status_code == 422
    assert name in result.json()["mistakes"][0]["where"]
    return result.text, most


def test_entities_that_grow_are_told_and_not_unfolded(desk):
    """Ten entities, each ten of the one before: 10^9 words (CWE-776)."""
    names = [f"e{n}" for n in range(10)]
    told = "".join(f'<!ENTITY {b} "{f"&{a};" * 10}">' for a, b in itertools.pairwise(names))
    head = f'<!DOCTYPE model [<!ENTITY e0 "ha ha ha">{told}]>'
    _, most = studied(desk, "laughs.3mf", packed(MODEL.format(head=head, body="<metadata>&e9;</metadata>")))
    assert most < 50e6


def test_an_entity_that_names_a_file_of_the_computer_brings_nothing_of_it(desk, tmp_path):
    """CWE-611: an external entity."""
    (tmp_path / "own.txt").write_text("the owner's secret")
    head = f'<!DOCTYPE model [<!ENTITY own SYSTEM "file://{tmp_path}/own.txt">]>'
    text, _ = studied(desk, "reader.3mf", packed(MODEL.format(head=head, body="<metadata>&own;</metadata>")))
    assert "secret" not in text
    assert "secret" not in desk.get("/api/v1/work").text


def test_a_parcel_whose_model_lies_outside_of_it_writes_nothing_there(desk, tmp_path):
    """A path in a name within the parcel (CWE-22): nothing is unpacked, so nothing lands anywhere."""
    name = f"../../../../../..{tmp_path}/landed.model"
    studied(desk, "slip.3mf", packed(MODEL.format(head="", body=""), name))
    assert not (tmp_path / "landed.model").exists()


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("many.stl", b"\0" * 80 + b"\xff\xff\xff\xff" + b"\0" * 50),
        (
            "many.ply",
            b"ply\nformat binary_little_endian 1.0\nelement vertex 4000000000\nproperty float x\nproperty float y\n"
            b"property float z\nelement face 4000000000\nproperty list uchar int vertex_indices\nend_header\n"
            + b"\0"
            * 64,
        ),
        ("many.ply", b"ply\nformat ascii 1.0\nelement vertex 99999999999999999999\nproperty float x\nend_header\n0\n"),
        ("far.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 4000000000\n"),
        ("wide.stl", binary_stl(TETRAHEDRON * 1e30)),
    ],
)
def test_a_count_that_the_file_does_not_hold_takes_no_room(desk, name, content):
    """CWE-789: memory asked for by a number in a file."""
    _, most = studied(desk, name, content)
    assert most < 50e6


def test_a_part_with_more_layers_than_anybody_prints_is_told(desk):
    """Ten kilometres high at a micrometre a layer would be ten billion layers."""
    content = binary_stl(TETRAHEDRON * 1e6)
    octets = {"content-type": "application/octet-stream"}
    file = desk.post("/api/v1/files?name=tower.stl", content=content, headers=octets).json()["file"]
    asked = {"part": [{"file": file, "unit": "mm"}], "layer_mm": 0.001}
    assert _ended(desk, desk.post("/api/v1/study", json=asked).headers["location"])["state"] == "failed"


def test_a_script_in_a_part_s_name_is_a_name_in_every_answer(app, desk):
    """In the page, in the sheet's files and in problem details."""
    script = "</script><script>alert(1)</script>"
    answer = desk.hand_in(f"{script.replace('/', '')}.stl", PART)
    page = desk.get(answer.headers["location"])
    assert "<script>alert" not in page.text
    part = [{"file": app.state.desk.carries()[0].parts[0].file, "unit": "mm", "name": script}]
    told = desk.post("/api/v1/carry", json={"job": {"recipe": script, "to": script, "room_c": 20}, "part": part})
    assert told.status_code == 422
    assert told.headers["content-type"] == "application/problem+json"
    assert told.headers["x-content-type-options"] == "nosniff"


def test_a_name_cannot_add_a_header(desk):
    """CWE-113: a line end in a name that is sent back."""
    answer = desk.get("/carry?take=x%0d%0aset-cookie:%20a=b.svg")
    assert answer.status_code == 404
    assert "a=b" not in str(answer.headers)


def _ended(desk, address):
    until = time.monotonic() + 120.0
    while time.monotonic() < until:
        found = desk.get(address).json()
        if found["state"] not in ("waiting", "running"):
            return found
        time.sleep(0.1)
    raise AssertionError(found)
