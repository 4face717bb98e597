"""Hostile inputs as data: what is sent, and to whom. The tests send each and look what became."""

from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Attack:
    """One request: `paired` with the device's cookie and token, or as a stranger."""

    name: str
    method: str
    path: str
    headers: dict[str, str] = field(default_factory=dict)
    body: bytes | None = None
    paired: bool = True
    own_token: bool = True


def _get(kind: str, paths: list[str], **more: Any) -> list[Attack]:
    return [Attack(f"{kind} {n}", "GET", path, **more) for n, path in enumerate(paths)]


TRAVERSAL = _get(
    "traversal",
    [
        "/static/../../shop/keys.py",
        "/static/..%2f..%2fshop%2fkeys.py",
        "/static/%2e%2e/%2e%2e/shop/keys.py",
        "/static/%252e%252e/%252e%252e/shop/keys.py",
        "/static/....//....//shop/keys.py",
        "/static/..\\..\\shop\\keys.py",
        "/static/..%5c..%5cshop%5ckeys.py",
        "/static/%c0%ae%c0%ae/keys.py",
        "/static//etc/passwd",
        "/static/%2fetc%2fpasswd",
        "/static/bench.css%00.html",
        "/static/bench.css/../../reply.py",
        "/fonts/../../../../../../../etc/passwd",
        "/fonts/..;/..;/etc/passwd",
        "/photos/..%2f..%2fshop.sqlite",
        "/photos/../shop.sqlite",
        "/photos/" + "a" * 63,
        "/photos/" + "A" * 64,
        "/photos/file:%2f%2f%2fetc%2fpasswd",
        "/v/1/pictures/..%2f..%2fshop.sqlite",
        "/v/1/pictures/%2e%2e",
        "/see/../people",
        "/see/%2e%2e/people",
        "/api/uploads/..%2f..%2fshop.sqlite",
        "/api/uploads/../../people",
        "/draw/..%2f..%2fetc%2fpasswd.svg",
        "/draw/two-box%00.svg",
        "/v/1/panel/../../2",
        "/v/1/panel/..%2f..%2f2/x",
        "//evil.example/",
        "/./people/../people",
        "/%ff%fe",
        "/v/1/panel/%0d%0aset-cookie:%20a=b",
    ],
)

NUMBERS = _get(
    "number",
    [
        "/v/-1",
        "/v/0",
        "/v/999999",
        "/v/99999999999999999999999999",
        "/v/9223372036854775808",
        "/v/1e3",
        "/v/0x1",
        "/v/1.5",
        "/v/%D9%A1",
        "/v/1%20or%201=1",
        "/v/NaN",
        "/v/1'--/car",
        "/people/audit?page=-1",
        "/people/audit?page=1e9",
        "/people/audit?page=99999999999999999999",
        "/api/visits/1/facts?after=x",
        "/api/visits/1/facts?after=-1",
        "/api/visits/1/facts?after=99999999999999999999999",
        "/api/visits/99999999999999999999/facts",
        "/api/visits/0/facts",
        "/api/visits/999999/work",
    ],
)

METHODS = [
    Attack(f"method {method}", method, "/", paired=True)
    for method in (
        "TRACE",
        "CONNECT",
        "OPTIONS",
        "PATCH",
        "PROPFIND",
        "DEBUG",
        "TRACK",
        "get",
        "DELETE",
        "PUT",
        "POST",
    )
] + [
    Attack(f"method {name}", "POST", "/v/1", {name: "DELETE"})
    for name in ("x-http-method-override", "x-http-method", "x-method-override")
]

HEADERS = [
    Attack("host of another", "GET", "/", {"host": "evil.example"}),
    Attack("host with ours in front", "GET", "/", {"host": "127.0.0.1:8136.evil.example"}),
    Attack("host with a user", "GET", "/", {"host": "127.0.0.1@evil.example"}),
    Attack("host with a port that is none", "GET", "/", {"host": "127.0.0.1:port"}),
    Attack("address of another page", "GET", "/", {"x-original-url": "/people"}),
    Attack("address rewritten", "GET", "/", {"x-rewrite-url": "/people"}),
    Attack("another protocol", "GET", "/", {"upgrade": "h2c", "connection": "upgrade"}),
    Attack(
        "packed body",
        "POST",
        "/people/new",
        {"content-encoding": "gzip", "content-type": "application/x-www-form-urlencoded"},
        b"\x1f\x8b",
    ),
    Attack(
        "unknown expectation",
        "POST",
        "/people/new",
        {"expect": "200-ok", "content-type": "application/x-www-form-urlencoded"},
        b"a=1",
    ),
    Attack("cookie of zeros", "GET", "/", {"cookie": "leastcut_device=" + "0" * 43}, paired=False),
    Attack(
        "cookie with quotes", "GET", "/", {"cookie": "leastcut_device=' OR '1'='1"}, paired=False
    ),
    Attack(
        "cookie of great length",
        "GET",
        "/",
        {"cookie": "leastcut_device=" + "a" * 6000},
        paired=False,
    ),
    Attack(
        "many cookies",
        "GET",
        "/",
        {"cookie": "; ".join(f"c{n}=1" for n in range(900))},
        paired=False,
    ),
    Attack(
        "forwarded for loopback",
        "GET",
        "/people",
        {"x-forwarded-for": "127.0.0.1", "x-real-ip": "127.0.0.1"},
        paired=False,
    ),
    Attack(
        "basic authorisation", "GET", "/", {"authorization": "Basic b3duZXI6b3duZXI="}, paired=False
    ),
    Attack("bearer authorisation", "GET", "/", {"authorization": "Bearer null"}, paired=False),
] + [
    Attack(f"headers in plenty {n}", "GET", "/", {f"x-{k}": "1" for k in range(n)})
    for n in (90, 200)
]

RANGES = [
    Attack(f"range {value[:24]}", "GET", "/photos/PHOTO", {"range": value})
    for value in (
        "bytes=0-0,1-1,2-2",
        "bytes=" + ",".join(f"{n}-" for n in range(400)),
        "bytes=5-1",
        "bytes=-",
        "bytes=a-b",
        "bytes=999999999-",
        "bytes=99999999999999999999-",
        "lines=1-2",
        "bytes",
    )
]

FORM = "application/x-www-form-urlencoded"
JSON = "application/json"


def _foreign(name: str, **more: Any) -> Attack:
    headers = {"content-type": FORM, **more.pop("headers", {})}
    return Attack(f"csrf {name}", "POST", "/people/new", headers, b"name=Eve&role=owner", **more)


CSRF = [
    _foreign("without a token", own_token=False),
    _foreign("with a token of zeros", own_token=False, headers={"x-leastcut-csrf": "0" * 64}),
    _foreign("with an empty token", own_token=False, headers={"x-leastcut-csrf": ""}),
    _foreign(
        "with a token in other letters", own_token=False, headers={"x-leastcut-csrf": "Ä" * 32}
    ),
    _foreign("from another origin", headers={"origin": "http://evil.example"}),
    _foreign("from a page without origin", headers={"origin": "null"}),
    _foreign("from another port", headers={"origin": "http://127.0.0.1:1"}),
    _foreign("from another scheme", headers={"origin": "https://127.0.0.1:8136"}),
    _foreign(
        "from a name that begins like ours", headers={"origin": "http://127.0.0.1.evil.example"}
    ),
    _foreign("across sites", headers={"sec-fetch-site": "cross-site"}),
    _foreign("as a stranger", paired=False),
    Attack(
        "csrf as text",
        "POST",
        "/people/new",
        {"content-type": "text/plain"},
        b"name=Eve&role=owner",
        own_token=False,
    ),
    Attack("csrf by reading", "GET", "/people/new?name=Eve&role=owner"),
    Attack("csrf of a sign out by reading", "GET", "/sign-out"),
    Attack(
        "csrf of a fact",
        "POST",
        "/api/visits/1/facts",
        {"content-type": JSON},
        b"[]",
        own_token=False,
    ),
    Attack(
        "csrf of an upload",
        "POST",
        "/api/uploads",
        {"content-type": JSON},
        b'{"name":"a","bytes":1}',
        own_token=False,
    ),
    Attack(
        "token in the address",
        "POST",
        "/people/new?csrf=TOKEN",
        {"content-type": FORM},
        b"name=Eve&role=owner",
        own_token=False,
    ),
    Attack(
        "token twice",
        "POST",
        "/people/new",
        {"content-type": FORM},
        b"csrf=TOKEN&csrf=TOKEN&name=Eve&role=owner",
        own_token=False,
    ),
]

BODIES = [
    Attack("form of great length", "POST", "/people/new", {"content-type": FORM}, b"name=" + b"a" * 300_000),
    Attack("form of many fields", "POST", "/people/new", {"content-type": FORM}, b"&".join(b"a%d=1" % n for n in range(5000))),
    Attack("form without an end", "POST", "/v/1/facts", {"content-type": "multipart/form-data; boundary=x"}, b'--x\r\ncontent-disposition: form-data; name="a"\r\n\r\n'),
    Attack("form without a boundary", "POST", "/v/1/facts", {"content-type": "multipart/form-data"}, b"a"),
    Attack("form of many parts", "POST", "/people/new", {"content-type": "multipart/form-data; boundary=x"}, b"".join(b'--x\r\ncontent-disposition: form-data; name="a%d"\r\n\r\n1\r\n' % n for n in range(700)) + b"--x--\r\n"),
    Attack("part with endless headers", "POST", "/people/new", {"content-type": "multipart/form-data; boundary=x"}, b"--x\r\n" + b"a: b\r\n" * 20_000 + b"\r\n1\r\n--x--\r\n"),
    Attack("file where none is taken", "POST", "/people/new", {"content-type": "multipart/form-data; boundary=x"}, b'--x\r\ncontent-disposition: form-data; name="a"; filename="../../x"\r\n\r\n1\r\n--x--\r\n'),
    Attack("xml with an entity", "POST", "/v/1/facts", {"content-type": "application/xml"}, b'<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/passwd">]><a>&b;</a>'),
    Attack("body of a read", "GET", "/", {"content-type": FORM}, b"a=1"),
    Attack("python pickle", "POST", "/api/visits/1/facts", {"content-type": "application/octet-stream"}, b"\x80\x04cos\nsystem\n"),
    *(
        Attack(f"json {name} to {path}", "POST", path, {"content-type": JSON}, body)
        for path in ("/api/visits/1/facts", "/api/uploads")
        for name, body in {
            "deep list": b"[" * 100_000,
            "deep object": b'{"a":' * 50_000 + b"1" + b"}" * 50_000,
            "deep and closed": b"[" * 900 + b"]" * 900,
            "huge": b'[{"key":"' + b"a" * 1_200_000 + b'"}]',
            "cut": b'[{"key":"a"',
            "empty": b"",
            "of another shape": b'"text"',
            "null": b"null",
            "endless number": b"[" + b"9" * 100_000 + b"]",
            "not UTF-8": b'[{"key":"\xff\xfe","kind":"set","field":"a"}]',
            "half a surrogate": b'[{"key":"\\ud800","kind":"set","field":"car.label","body":"\\ud800"}]',
            "infinity": b'[{"key":"a","kind":"set","field":"car.length","body":Infinity}]',
            "lone comma": b"[,]",
            "behind the end": b"[] []",
            "byte order mark": b"\xef\xbb\xbf[]",
        }.items()
    ),
]  # fmt: skip

LINKS = _get(
    "guessed link",
    ["/see/1", "/see/" + "a" * 43, "/see/' OR 1=1 --", "/see/%25", "/see/" + "-" * 500, "/see/null/photos/PHOTO", "/see/" + "A" * 43 + "/report.pdf", "/see/%E2%98%83"],
    paired=False,
)  # fmt: skip

STRANGERS = _get(
    "stranger",
    ["/", "/people", "/v/1", "/v/1/handover.pdf", "/photos/PHOTO", "/api/visits/1/facts", "/api/visits/1/work", "/openapi.json", "/settings", "/static", "/work-sw.js"],
    paired=False,
)  # fmt: skip

CODES = [
    Attack(f"code {n}", "POST", "/pair", {"content-type": FORM}, b"label=x&code=" + code, paired=False)
    for n, code in enumerate((b"", b"AAAAAAAAAA", b"%00", b"' OR 1=1 --", b"%F0%9F%98%80" * 10, b"a" * 100_000, b"A&code=B", b"USED"))
] + [
    Attack("old key", "GET", "/enter?key=USED", paired=False),
    Attack("empty key", "GET", "/enter?key=", paired=False),
    Attack("key twice", "GET", "/enter?key=A&key=B", paired=False),
    Attack("password with SQL", "POST", "/sign-in", {"content-type": FORM}, b"name=Owner&password='%20OR%20'1'='1", paired=False),
    Attack("endless password", "POST", "/sign-in", {"content-type": FORM}, b"name=Owner&password=" + b"a" * 200_000, paired=False),
    Attack("password as a list", "POST", "/sign-in", {"content-type": FORM}, b"name=Owner&password=a&password=b", paired=False),
    Attack("password as JSON", "POST", "/sign-in", {"content-type": JSON}, b'{"name":"Owner","password":{"$ne":1}}', paired=False),
]  # fmt: skip

REQUESTS = [
    *TRAVERSAL,
    *NUMBERS,
    *METHODS,
    *HEADERS,
    *RANGES,
    *CSRF,
    *BODIES,
    *LINKS,
    *STRANGERS,
    *CODES,
]
