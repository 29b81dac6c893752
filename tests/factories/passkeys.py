"""A key made of software: it signs as a phone's passkey does, for a site at http://localhost."""

from __future__ import annotations

import json
import secrets
from hashlib import sha256
from typing import Any

from allauth.mfa.models import Authenticator
from allauth.mfa.webauthn.internal.auth import WebAuthn
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from fido2.cose import ES256
from fido2.utils import websafe_encode
from fido2.webauthn import AttestationObject, AttestedCredentialData, AuthenticatorData

from club.members.models import User

HOST = "localhost"
SEEN_AND_CHECKED = AuthenticatorData.FLAG.UP | AuthenticatorData.FLAG.UV


class SoftKey:
    def __init__(self) -> None:
        self.private = ec.generate_private_key(ec.SECP256R1())
        self.id = secrets.token_bytes(16)
        self.owner = b""

    def registered(self, options: dict[str, Any]) -> str:
        """The answer to a page that adds a key, as its script sends it."""
        self.owner = options["publicKey"]["user"]["id"].encode()
        public = ES256.from_cryptography_key(self.private.public_key())
        held = AttestedCredentialData.create(bytes(16), self.id, public)
        data = self._data(SEEN_AND_CHECKED | AuthenticatorData.FLAG.AT, bytes(held))
        told = {"attestationObject": websafe_encode(AttestationObject.create("none", data, {}))}
        return self._answer("webauthn.create", options["publicKey"]["challenge"], told)

    def signed(self, options: dict[str, Any], origin: str = f"http://{HOST}") -> str:
        """The answer to a page that asks for the key."""
        data, challenge = self._data(SEEN_AND_CHECKED, b""), options["publicKey"]["challenge"]
        client = self._client("webauthn.get", challenge, origin)
        signature = self.private.sign(bytes(data) + sha256(client).digest(), ec.ECDSA(hashes.SHA256()))
        told = {
            "authenticatorData": websafe_encode(bytes(data)),
            "signature": websafe_encode(signature),
            "userHandle": self.owner.decode(),
        }
        return self._answer("webauthn.get", challenge, told, origin)

    def _data(self, flags: Any, held: bytes) -> AuthenticatorData:
        return AuthenticatorData.create(sha256(HOST.encode()).digest(), flags, 1, held)

    def _client(self, kind: str, challenge: str, origin: str) -> bytes:
        return json.dumps({"type": kind, "challenge": challenge, "origin": origin}).encode()

    def _answer(self, kind: str, challenge: str, told: dict[str, str], origin: str = f"http://{HOST}") -> str:
        client = websafe_encode(self._client(kind, challenge, origin))
        number = websafe_encode(self.id)
        answer = {"id": number, "rawId": number, "type": "public-key", "response": {"clientDataJSON": client, **told}}
        return json.dumps({**answer, "clientExtensionResults": {"credProps": {"rk": True}}})


def make_passkey(person: User, name: str = "Phone") -> Authenticator:
    """One that this person has, for pages that list it."""
    options = {"publicKey": {"user": {"id": "x"}, "challenge": "none"}}
    return WebAuthn.add(person, name, json.loads(SoftKey().registered(options))).instance
