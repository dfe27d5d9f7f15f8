"""A small OpenID Connect provider for the tests: a real HTTP server on loopback with RSA keys of its own.

It looks at what it is sent as a provider does (client's secret, redirect address, code once, PKCE by its own SHA-256);
what it answers can be bent, one thing at a time.
"""

import base64
import hashlib
import hmac
import json
import secrets
import threading
import time
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlencode, urlsplit

from joserfc import jwt
from joserfc.jwk import RSAKey

CLIENT, SECRET = "planning-tool", "a secret of the tests"


class SmallProvider:
    """The provider; `bent` holds what it does wrong."""

    def __init__(self, key: RSAKey, other: RSAKey) -> None:
        self.key, self.other = key, other
        self.bent: dict[str, Any] = {}
        self.person: dict[str, Any] = {"sub": "7e1", "preferred_username": "Planner"}
        self.told: dict[str, Any] = {}
        """What userinfo says beside the subject."""
        self.codes: dict[str, dict[str, str]] = {}
        self.asked: list[str] = []
        self.server = ThreadingHTTPServer(("127.0.0.1", 0), self._handler())
        self.server.daemon_threads = True
        self.thread = threading.Thread(target=self.server.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True)
        self.thread.start()

    @property
    def issuer(self) -> str:
        """Its address."""
        return f"http://127.0.0.1:{self.server.server_address[1]}"

    def close(self) -> None:
        """Stop answering."""
        self.server.shutdown()
        self.server.server_close()
        self.thread.join()

    def authorize(self, address: str) -> dict[str, str]:
        """What a browser that is sent to `address` brings back, once its person has agreed."""
        sent = {name: values[0] for name, values in parse_qs(urlsplit(address).query).items()}
        assert address.startswith(f"{self.issuer}/authorize?")
        assert (sent["response_type"], sent["client_id"], sent["code_challenge_method"]) == ("code", CLIENT, "S256")
        assert "openid" in sent["scope"].split()
        code = secrets.token_urlsafe(16)
        self.codes[code] = sent
        return {"code": code, "state": sent["state"], **self.bent.get("back", {})}

    def description(self) -> dict[str, Any]:
        """Its discovery document."""
        at = self.issuer
        return {
            "issuer": at,
            "authorization_endpoint": f"{at}/authorize",
            "token_endpoint": f"{at}/token",
            "jwks_uri": f"{at}/keys",
            "userinfo_endpoint": f"{at}/userinfo",
            "response_types_supported": ["code"],
            "subject_types_supported": ["public"],
            "id_token_signing_alg_values_supported": ["RS256", "HS256", "none"],
            **self.bent.get("description", {}),
        }

    def token(self, sent: dict[str, str], authorization: str) -> tuple[int, dict[str, Any]]:
        """Its answer to a code."""
        basic = base64.b64encode(f"{CLIENT}:{SECRET.replace(' ', '%20')}".encode()).decode()
        plain = base64.b64encode(f"{CLIENT}:{SECRET}".encode()).decode()
        if authorization not in (f"Basic {basic}", f"Basic {plain}"):
            return 401, {"error": "invalid_client"}
        asked = self.codes.pop(sent.get("code", ""), None)
        digest = hashlib.sha256(sent.get("code_verifier", "").encode()).digest()
        challenge = _coded(digest)
        if asked is None or sent["redirect_uri"] != asked["redirect_uri"] or challenge != asked["code_challenge"]:
            return 400, {"error": "invalid_grant"}
        now = int(time.time())
        claims = {"iss": self.issuer, "aud": CLIENT, "iat": now, "exp": now + 300, "nonce": asked["nonce"]}
        claims = {**claims, **self.person, **self.bent.get("claims", {})}
        claims = {name: value for name, value in claims.items() if value is not None}
        answer = {"access_token": "opaque", "token_type": "Bearer", "id_token": self._signed(claims)}
        if self.bent.get("signed") == "nothing":
            answer.pop("id_token")
        return self.bent.get("token", (200, answer))

    def _signed(self, claims: dict[str, Any]) -> str:
        """The ID token, in whatever way it is signed today."""
        kind = self.bent.get("signed", "RS256")
        if kind in ("none", "HS256"):  # by hand, for the library signs nothing so
            head = {"alg": kind} if kind == "none" else {"alg": kind, "kid": self.key.kid}
            text = ".".join(_coded(json.dumps(part).encode()) for part in (head, claims))
            public = self.key.as_pem(private=False)  # what everybody can read, taken for a secret
            seal = b"" if kind == "none" else hmac.digest(public, text.encode(), "sha256")
            return f"{text}.{_coded(seal)}"
        if kind == "another key":
            return jwt.encode({"alg": "RS256", "kid": self.key.kid}, claims, self.other)
        if kind == "an unknown key":
            return jwt.encode({"alg": "RS256", "kid": "new"}, claims, self.other)
        return jwt.encode({"alg": "RS256", "kid": self.key.kid}, claims, self.key)

    def _handler(self) -> type[BaseHTTPRequestHandler]:
        provider = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                provider.asked.append(self.path)
                if self.path == "/.well-known/openid-configuration":
                    self.say(*provider.bent.get("discovery", (200, provider.description())))
                elif self.path == "/keys":
                    held = [provider.key.as_dict(private=False)]
                    self.say(*provider.bent.get("keys", (200, {"keys": held})))
                elif self.path == "/userinfo" and self.headers["Authorization"] == "Bearer opaque":
                    self.say(200, {"sub": provider.person["sub"], **provider.told})
                elif self.path.startswith("/authorize?"):
                    back = provider.authorize(f"{provider.issuer}{self.path}")
                    self.send_response(303)
                    to = provider.codes[back["code"]]["redirect_uri"]
                    self.send_header("Location", f"{to}?{urlencode(back)}")
                    self.end_headers()
                else:
                    self.say(404, {})

            def do_POST(self) -> None:
                provider.asked.append(self.path)
                body = self.rfile.read(int(self.headers["Content-Length"])).decode()
                sent = {name: values[0] for name, values in parse_qs(body).items()}
                self.say(*provider.token(sent, self.headers.get("Authorization", "")))

            def say(self, status: int, body: Any) -> None:
                content = body.encode() if isinstance(body, str) else json.dumps(body).encode()
                self.send_response(status)
                self.send_header("Content-Type", "text/html" if isinstance(body, str) else "application/json")
                self.send_header("Content-Length", str(len(content)))
                self.end_headers()
                self.wfile.write(content)

            def log_message(self, *_: Any) -> None:
                pass

        return Handler


def _coded(content: bytes) -> str:
    """Base64url without padding (RFC 7515, 2)."""
    return base64.urlsafe_b64encode(content).rstrip(b"=").decode()
