"""Pure sums of the outbox: how long to wait, when to give up, and which refusals are final."""

from __future__ import annotations

import hashlib
import re
import smtplib
from datetime import timedelta

# With the waits below: a mail that fails for itself is given up after about four hours.
MOST_ATTEMPTS = 10
FIRST_WAIT = timedelta(minutes=1)
LONGEST_WAIT = timedelta(hours=1)
NO_MAILBOX = re.compile(rb"5\.1\.\d")
SERVER_TROUBLE = (
    smtplib.SMTPServerDisconnected,
    smtplib.SMTPConnectError,
    smtplib.SMTPHeloError,
    smtplib.SMTPNotSupportedError,
    smtplib.SMTPAuthenticationError,
    smtplib.SMTPSenderRefused,
)


def wait_after(attempt: int, *, jitter: float) -> timedelta:
    """Wait before the next try: doubling from a minute up to an hour, then spread by a quarter either way.

    `jitter` is a number from 0 to 1. Without the spread, all that failed together would come back together.
    """
    doubled: timedelta = FIRST_WAIT * 2 ** min(
        attempt - 1, 16
    )  # no further: an outage of days must not overflow the sum
    plain = min(doubled, LONGEST_WAIT)
    return plain * (0.75 + 0.5 * jitter)


def is_final(error: Exception) -> bool:
    """True when the mail server refused the very address for good (a 5xx answer): asking again gets a club banned.

    A refused sign-in or a refused connection is not final: an organiser can mend it.
    """
    return isinstance(error, smtplib.SMTPRecipientsRefused) and all(
        500 <= code < 600 for code, _text in error.recipients.values()
    )


def is_server_away(error: Exception) -> bool:
    """True when no mail at all would go out just now: no connection, no sign-in, or our own address refused."""
    if isinstance(error, smtplib.SMTPException):
        return isinstance(error, SERVER_TROUBLE)
    return isinstance(error, OSError)


def is_no_mailbox(error: Exception) -> bool:
    """True when the server says that there is no such mailbox (RFC 3463, 5.1.x): the address is wrong, not we.

    Any other refusal for good may be our own fault, such as a relay that does not know us, and says nothing of her.
    """
    if not isinstance(error, smtplib.SMTPRecipientsRefused) or not error.recipients:
        return False
    return all(500 <= code < 600 and NO_MAILBOX.match(text) for code, text in error.recipients.values())


def is_given_up(error: Exception, attempts: int) -> bool:
    """A poisoned mail has so many tries. One that only waits for the server keeps trying until its rule lets go."""
    return is_final(error) or (attempts >= MOST_ATTEMPTS and not is_server_away(error))


def message_id(*key: object, host: str) -> str:
    """The same for the same reason, however often it is sent: a mailbox may then drop what came twice."""
    digest = hashlib.sha256("\0".join(map(str, key)).encode()).hexdigest()[:32]
    return f"<{digest}@{host}>"
