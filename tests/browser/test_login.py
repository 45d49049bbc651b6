"""The desk entered by OpenID Connect, against a small provider that the test runs itself.

Its answers have the members that OpenID Connect Core 1.0 (sections 3.1.2.5, 3.1.3.3) and Discovery 1.0 (section 3)
require. Who the provider says is there is set by the test.
"""

import json
import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import parse_qs, urlencode, urlsplit

import pytest

pytest.importorskip("authlib", reason="the school's login needs Authlib")
jose = pytest.importorskip("joserfc.jwt")
jwk = pytest.importorskip("joserfc.jwk")

pytestmark = pytest.mark.browser

CLIENT = "cold-morning"


class Provider:
    """A provider on a port of its own that logs everybody in as `who`."""

    def __init__(self) -> None:
        self.who: dict[str, object] = {}
        self.key = jwk.RSAKey.generate_key(2048, {"kid": "one", "use": "sig", "alg": "RS256"}, private=True)
        self.nonces: dict[str, str] = {}
        self.server = ThreadingHTTPServer(("127.0.0.1", 0), self.handler())
        self.address = f"http://127.0.0.1:{self.server.server_port}"
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def configuration(self) -> dict[str, object]:
        return {
            "issuer": self.address,
            "authorization_endpoint": f"{self.address}/authorize",
            "token_endpoint": f"{self.address}/token",
            "jwks_uri": f"{self.address}/keys",
            "response_types_supported": ["code"],
            "subject_types_supported": ["public"],
            "id_token_signing_alg_values_supported": ["RS256"],
        }

    def tokens(self, code: str) -> dict[str, object]:
        now = int(time.time())
        claims = {"iss": self.address, "sub": "1", "aud": CLIENT, "iat": now, "exp": now + 600, **self.who}
        claims["nonce"] = self.nonces.pop(code)
        signed = jose.encode({"alg": "RS256", "kid": "one"}, claims, self.key)
        return {"access_token": "none", "token_type": "Bearer", "expires_in": 600, "id_token": signed}

    def handler(provider) -> type[BaseHTTPRequestHandler]:  # noqa: N805 - the handler's own self is another
        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                path, query = urlsplit(self.path).path, parse_qs(urlsplit(self.path).query)
                if path == "/authorize":
                    code = f"code{len(provider.nonces)}{time.time_ns()}"
                    provider.nonces[code] = query.get("nonce", [""])[0]
                    back = urlencode({"code": code, "state": query["state"][0]})
                    self.send_response(302)
                    self.send_header("location", f"{query['redirect_uri'][0]}?{back}")
                    self.end_headers()
                elif path == "/keys":
                    self.say({"keys": [provider.key.as_dict(private=False)]})
                else:
                    self.say(provider.configuration())

            def do_POST(self) -> None:
                sent = parse_qs(self.rfile.read(int(self.headers["content-length"])).decode())
                self.say(provider.tokens(sent["code"][0]))

            def say(self, told: object) -> None:
                self.send_response(200)
                self.send_header("content-type", "application/json")
                self.end_headers()
                self.wfile.write(json.dumps(told).encode())

            def log_message(self, *_: object) -> None:
                pass

        return Handler


@pytest.fixture
def provider() -> Iterator[Provider]:
    running = Provider()
    yield running
    running.server.shutdown()


@pytest.fixture
def school_server(tmp_path, own_server, provider):
    """The test's own server, started again with the provider in its secrets."""
    own_server.kill()
    folder = tmp_path / ".streamlit"
    folder.mkdir()
    (folder / "secrets.toml").write_text(
        f"""
[auth]
redirect_uri = "{own_server.address}/oauth2callback"
cookie_secret = "not a secret, a test's own"
client_id = "{CLIENT}"
client_secret = "a test's own"
server_metadata_url = "{provider.address}/.well-known/openid-configuration"

[desk]
emails = ["Ines@school.example"]
"""
    )
    own_server.start()
    return own_server


def test_who_is_listed_enters_and_leaves(school_server, provider, learner):
    provider.who = {"email": "ines@school.example", "email_verified": True}
    someone = learner(f"{school_server.address}/class-desk")
    page = someone.page
    assert page.get_by_label("Passphrase").count() == 0
    someone.button("Enter with your school login").click()
    page.wait_for_url(f"{school_server.address}/")
    page.get_by_role("link", name="Class desk").click()
    page.get_by_role("button", name="Leave the desk").wait_for()
    copied = page.context.cookies()
    page.get_by_role("button", name="Leave the desk").click()
    page.wait_for_url(f"{school_server.address}/")  # the logout leads to the start page
    someone.go(f"{school_server.address}/class-desk")
    assert someone.button("Enter with your school login").is_visible()
    page.context.add_cookies(copied)  # leaving ends the login on the server too, not in this browser alone
    someone.go(f"{school_server.address}/class-desk")
    assert someone.hears("You have left the desk with this login.")
    assert page.get_by_role("tab").count() == 0


def test_who_is_not_listed_stays_outside(school_server, provider, learner):
    provider.who = {"email": "dan@school.example", "email_verified": True}
    someone = learner(f"{school_server.address}/class-desk")
    someone.button("Enter with your school login").click()
    someone.page.wait_for_url(f"{school_server.address}/")
    someone.go(f"{school_server.address}/class-desk")
    assert someone.hears("dan@school.example is not among those who may enter the desk.")
    assert someone.page.get_by_role("tab").count() == 0
