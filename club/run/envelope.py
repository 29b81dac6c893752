"""A file closed with a passphrase: written in one go, read from anywhere in it, and never read where it was changed.

The form of it (all numbers are bytes): a head of 58, then pieces.

    0   16  the mark, whose last byte is the version of this form
    16   3  scrypt's cost: log2 of N, r, p
    19  16  scrypt's salt
    35   7  what each piece's nonce begins with
    42  16  a check of the passphrase: the second part of what scrypt makes, of which the first 32 are the key

Each piece is 65,536 of the content (the last one 0 to 65,536) closed by ChaCha20-Poly1305 (RFC 8439), and so 16 longer.
Its nonce is the 7 of the head, the piece's number in 4, and a last byte that is 1 for the last piece and 0 for every
other; the head is authenticated with each. So a piece that was changed, moved, left out, or is missing at the end does
not open (the construction is STREAM: Hoang, Reyhanitabar, Rogaway and Vizar, "Online Authenticated-Encryption", 2015).
"""

from __future__ import annotations

import hashlib
import io
import os
import secrets
from typing import IO, BinaryIO

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305

MARK = b"kettlehall-seal\x01"
HEAD = len(MARK) + 3 + 16 + 7 + 16
PIECE = 65_536
TAG = 16
# 64 MB and some tenths of a second for each guess; a head that asks for more memory than four times that is refused.
COST = (16, 8, 1)
MOST_MEMORY = 4 * 128 * 8 * 2**16


class WrongPassphrase(Exception):
    """The passphrase is not the one that the file was closed with."""


class Damaged(Exception):
    """The file is cut off, or was changed since it was written."""


def is_closed(file: BinaryIO) -> bool:
    """Whether it begins as such a file does, of whatever version; the file is left at its beginning."""
    begins = file.read(len(MARK))
    file.seek(0)
    return begins[:-1] == MARK[:-1]


def _key(passphrase: str, cost: tuple[int, int, int], salt: bytes) -> tuple[bytes, bytes]:
    """The key, and the check of the passphrase."""
    log_n, r, p = cost
    if not (1 <= log_n <= 24 and r and p == 1 and 128 * r * 2**log_n <= MOST_MEMORY):
        raise Damaged
    made = hashlib.scrypt(
        passphrase.encode(), salt=salt, n=2**log_n, r=r, p=p, maxmem=MOST_MEMORY + 2**20, dklen=32 + 16
    )
    return made[:32], made[32:]


def _nonce(begin: bytes, number: int, *, is_last: bool) -> bytes:
    return begin + number.to_bytes(4, "big") + bytes([is_last])


class ClosingWriter(io.RawIOBase):
    """Closes what is written to it into `file`. `finish` writes the last piece; without it nobody can read the file."""

    def __init__(self, file: IO[bytes], passphrase: str) -> None:
        super().__init__()
        self.file, self.waiting, self.number = file, bytearray(), 0
        salt, self.begin = secrets.token_bytes(16), secrets.token_bytes(7)
        key, check = _key(passphrase, COST, salt)
        self.cipher = ChaCha20Poly1305(key)
        self.head = MARK + bytes(COST) + salt + self.begin + check
        file.write(self.head)

    def writable(self) -> bool:
        return True

    def write(self, content: bytes) -> int:  # type: ignore[override]  # all of it, always
        self.waiting += content
        while len(self.waiting) > PIECE:
            self._put(bytes(self.waiting[:PIECE]), is_last=False)
            del self.waiting[:PIECE]
        return len(content)

    def finish(self) -> None:
        self._put(bytes(self.waiting), is_last=True)
        self.waiting.clear()

    def _put(self, piece: bytes, *, is_last: bool) -> None:
        self.file.write(self.cipher.encrypt(_nonce(self.begin, self.number, is_last=is_last), piece, self.head))
        self.number += 1


class OpeningReader(io.RawIOBase):
    """The content of a closed file. WrongPassphrase at once; Damaged at once or when what is damaged is reached."""

    def __init__(self, file: BinaryIO, passphrase: str) -> None:
        super().__init__()
        self.file = file
        self.head = head = file.read(HEAD)
        size = os.fstat(file.fileno()).st_size - HEAD
        self.pieces = -(-size // (PIECE + TAG))
        self.size = size - self.pieces * TAG
        if len(head) < HEAD or head[: len(MARK)] != MARK or self.pieces < 1 or size % (PIECE + TAG) in range(1, TAG):
            raise Damaged
        self.begin = head[35:42]
        key, check = _key(passphrase, (head[16], head[17], head[18]), head[19:35])
        if not secrets.compare_digest(check, head[42:]):
            raise WrongPassphrase
        self.cipher = ChaCha20Poly1305(key)
        self.at, self.held, self.held_number = 0, b"", -1

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def tell(self) -> int:
        return self.at

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        self.at = max(0, {os.SEEK_SET: 0, os.SEEK_CUR: self.at, os.SEEK_END: self.size}[whence] + offset)
        return self.at

    def readinto(self, into: bytearray) -> int:  # type: ignore[override]
        if self.at >= self.size:
            return 0
        number, start = divmod(self.at, PIECE)
        piece = self._piece(number)[start : start + len(into)]
        into[: len(piece)] = piece
        self.at += len(piece)
        return len(piece)

    def _piece(self, number: int) -> bytes:
        if number != self.held_number:
            self.file.seek(HEAD + number * (PIECE + TAG))
            closed = self.file.read(PIECE + TAG)
            nonce = _nonce(self.begin, number, is_last=number == self.pieces - 1)
            try:
                self.held = self.cipher.decrypt(nonce, closed, self.head)
            except InvalidTag:
                raise Damaged from None
            self.held_number = number
        return self.held
