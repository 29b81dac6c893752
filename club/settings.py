"""One settings file, read from the environment, safe by default.

Without DATABASE_URL and REDIS_URL the site runs on embedded parts (SQLite, a broker on a unix socket) under
KETTLEHALL_DATA. With them the same code runs on PostgreSQL and Redis. README.md lists every variable.
"""

from __future__ import annotations

import contextlib
import os
import secrets
from base64 import urlsafe_b64encode
from email.utils import formataddr
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import bootstrap_wrapper
import dj_database_url
from csp.constants import NONCE, NONE, SELF
from django.conf.locale import LANG_INFO
from django.core.exceptions import ImproperlyConfigured
from django.utils.translation import gettext_lazy as _
from django.utils.translation import to_language

from club.core import logs
from club.core.places import IS_INSTALLED
from club.run.broker import socket_path

BASE_DIR = Path(__file__).resolve().parent.parent


def data_dir() -> Path:
    """Where everything kept lies. An installed site never writes among the installed packages."""
    if data_dir := os.environ.get("KETTLEHALL_DATA"):
        return Path(data_dir).resolve()
    if IS_INSTALLED:
        raise ImproperlyConfigured("Set KETTLEHALL_DATA to a folder of the site's own: this is an installed copy.")
    return (BASE_DIR / ".kettlehall").resolve()


DATA_DIR = data_dir()


def flag(name: str, default: bool = False) -> bool:
    return os.environ.get(name, "1" if default else "0").lower() in {"1", "true", "yes", "on"}


def kept_secret() -> str:
    """A secret of this installation's own, made once: only embedded runs may do without SECRET_KEY."""
    if "DATABASE_URL" in os.environ and not flag("DEBUG"):
        raise ImproperlyConfigured("Set SECRET_KEY: a site with DATABASE_URL must bring its own secret.")
    return made_once("secret", secrets.token_urlsafe(48))


def note_keys() -> list[str]:
    """What seals the notes on health and access, the newest first. A site with DATABASE_URL brings its own: without
    one nothing is sealed, and nothing that was sealed is read.
    """
    if given := os.environ.get("NOTE_KEYS"):
        return [key.strip() for key in given.split(",") if key.strip()]
    if "DATABASE_URL" in os.environ and not flag("DEBUG"):
        return []
    return [made_once("notes.key", urlsafe_b64encode(secrets.token_bytes(32)).decode())]


def made_once(name: str, fresh: str) -> str:
    """What this file of the data folder says; it is made of `fresh` the first time, for its owner's eyes alone."""
    path = DATA_DIR / name
    try:
        if not path.exists():
            DATA_DIR.mkdir(parents=True, exist_ok=True, mode=0o700)
            draft = DATA_DIR / f"{name}.{os.getpid()}"
            with open(os.open(draft, os.O_CREAT | os.O_WRONLY, 0o600), "w") as new:
                new.write(fresh)
            # A link either makes the whole file or fails: a process starting beside us never reads half a secret.
            with contextlib.suppress(FileExistsError):
                os.link(draft, path)
            draft.unlink()
        return path.read_text()
    except OSError as error:
        raise ImproperlyConfigured(
            f"The data folder {DATA_DIR} cannot be used ({error.strerror}). Make room on its disk, start the site as "
            "the one it belongs to, or set KETTLEHALL_DATA to a folder of your own."
        ) from error


def listed(name: str) -> list[str]:
    """What a variable names, with commas between."""
    return [one.strip() for one in os.environ.get(name, "").split(",") if one.strip()]


DEBUG = flag("DEBUG")
SECRET_KEY = os.environ.get("SECRET_KEY") or kept_secret()
# What was signed or encrypted under an earlier secret stays good: sessions, links in mails, keys of one-time codes.
SECRET_KEY_FALLBACKS = listed("SECRET_KEY_FALLBACKS")
NOTE_KEYS = note_keys()
SITE_URL = os.environ.get("SITE_URL", "http://127.0.0.1:8000").rstrip("/")
CLUB_NAME = os.environ.get("CLUB_NAME", "Kettlehall")
CURRENCY_SIGN = os.environ.get("CURRENCY_SIGN", "")  # stands before every sum, such as $ or €
# Whose list of allergens the labels of jars go by.
ALLERGEN_LIST = os.environ.get("ALLERGEN_LIST", "us").lower()
if ALLERGEN_LIST not in {"us", "canada", "eu"}:
    raise ImproperlyConfigured("ALLERGEN_LIST is us, canada or eu.")
# What sheets are printed on where a page does not ask: the paper of the region.
PAPER = os.environ.get("PAPER", "a4" if ALLERGEN_LIST == "eu" else "letter").lower()
if PAPER not in {"letter", "a4"}:
    raise ImproperlyConfigured("PAPER is letter or a4.")
_site = urlsplit(SITE_URL)
IS_HTTPS = _site.scheme == "https"

# Under https nobody is answered who names this machine itself: /healthz is asked with the site's name as its host.
ALLOWED_HOSTS = [
    _site.hostname or "127.0.0.1",
    *([] if IS_HTTPS else ["127.0.0.1", "localhost"]),
    *listed("ALLOWED_HOSTS"),
]
CSRF_TRUSTED_ORIGINS = [SITE_URL]

INSTALLED_APPS = [
    "club.core",
    "club.members",
    "recipes",
    "inventory.jars",
    "inventory.equipment",
    "inventory.fruit",
    "inventory.batches",
    "club.classes",
    "club.reminders",
    "club.season",
    "club.desk",
    "club.run",
    "crispy_forms",
    "crispy_bootstrap5",
    "heroicons",
    "django_htmx",
    "allauth",
    "allauth.account",
    "allauth.mfa",
    "csp",
    "django.contrib.admin",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
]

MIDDLEWARE = [
    "club.core.logs.RequestMiddleware",
    # Headers of every answer, those of files and of refused bodies too.
    "django.middleware.security.SecurityMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "csp.middleware.CSPMiddleware",
    "club.core.middleware.ResponseHeadersMiddleware",
    "club.core.middleware.BodyLimitMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",  # its files are compressed already
    # BREACH guesses a secret from the lengths of compressed answers that hold it beside a text of the attacker's. The
    # secrets in our pages are the form token, which Django masks anew for each answer, and one's calendar address, on a
    # page that shows nothing of what was asked. And this middleware makes each answer longer by a random number.
    "django.middleware.gzip.GZipMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.locale.LocaleMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "club.members.middleware.SessionLimitsMiddleware",
    "club.members.middleware.UnitsMiddleware",
    "django.contrib.auth.middleware.LoginRequiredMiddleware",
    "club.members.middleware.SecondFactorMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "club.core.middleware.HtmxSignInMiddleware",
    "allauth.account.middleware.AccountMiddleware",
]

# Whoever brings this token reads `/metrics`; without one nothing is counted.
METRICS_TOKEN = os.environ.get("METRICS_TOKEN", "")
if METRICS_TOKEN:
    if len(METRICS_TOKEN) < 16:
        raise ImproperlyConfigured("METRICS_TOKEN has at least 16 characters: whoever guesses it reads the figures.")
    os.environ.setdefault("PROMETHEUS_MULTIPROC_DIR", str(DATA_DIR / "metrics"))
    Path(os.environ["PROMETHEUS_MULTIPROC_DIR"]).mkdir(parents=True, exist_ok=True, mode=0o700)
    MIDDLEWARE.insert(1, "club.run.metrics.MetricsMiddleware")

ROOT_URLCONF = "club.urls"
WSGI_APPLICATION = "club.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "club" / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.debug",
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "csp.context_processors.nonce",
                "club.desk.context.house",
            ],
        },
    },
]


SQLITE = "club.core.sqlite3"  # Django's, with one queue for all who write
# A writer takes its lock when the transaction begins, so two of them queue instead of failing half-way. With the
# write-ahead log only synchronous=FULL has a commit on the disk before a press is answered: it costs one sync, some
# milliseconds, and a power cut takes nothing that was acknowledged.
SQLITE_OPTIONS = {
    "transaction_mode": "IMMEDIATE",
    "timeout": 20,
    "init_command": "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL;",
}


def database() -> dict[str, Any]:
    if "DATABASE_URL" in os.environ:
        given: dict[str, Any] = dict(
            dj_database_url.parse(os.environ["DATABASE_URL"], conn_max_age=60, conn_health_checks=True)
        )
        is_sqlite = given["ENGINE"].endswith("sqlite3")
        return given | {"ENGINE": SQLITE, "OPTIONS": SQLITE_OPTIONS} if is_sqlite else given
    DATA_DIR.mkdir(parents=True, exist_ok=True, mode=0o700)
    return {
        "ENGINE": SQLITE,
        "NAME": DATA_DIR / "club.sqlite3",
        "OPTIONS": SQLITE_OPTIONS,
        # Race tests need a file: an in-memory test database shares one connection and hides every clash.
        "TEST": {"NAME": DATA_DIR / "test.sqlite3"},
    }


DATABASES = {"default": database()}
# Where a backup is kept each day; none is made by itself where this is empty. `up` sets it.
BACKUP_DIR = os.environ.get("BACKUP_DIR", "")
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

REDIS_URL = os.environ.get("REDIS_URL") or f"unix://{socket_path(DATA_DIR)}"


def redis_database(redis_url: str) -> int:
    """The number a Redis URL names: `/2` on a host, `?db=2` on a unix socket, 0 when it names none."""
    parts = urlsplit(redis_url)
    named = parse_qs(parts.query).get("db", ["0"])[0] if parts.scheme == "unix" else parts.path.strip("/")
    return int(named or 0)


def broker_url(redis_url: str) -> str:
    """Celery spells a unix socket differently from redis-py."""
    parts = urlsplit(redis_url)
    if parts.scheme != "unix":
        return redis_url
    return f"redis+socket://{parts.path}?virtual_host={redis_database(redis_url)}"


def cache_url(redis_url: str) -> str:
    """The cache lives in the next database, so that flushing it never touches the queue."""
    parts = urlsplit(redis_url)
    number = redis_database(redis_url) + 1
    if parts.scheme == "unix":
        return f"unix://{parts.path}?db={number}"
    return parts._replace(path=f"/{number}").geturl()


CACHES = {
    "default": {
        "BACKEND": "club.run.cache.RedisOrMemoryCache",
        "LOCATION": cache_url(REDIS_URL),
        "OPTIONS": {"socket_connect_timeout": 1, "socket_timeout": 1},  # a page waits no longer for a count
    }
}

CELERY_BROKER_URL = broker_url(REDIS_URL)
CELERY_TASK_IGNORE_RESULT = True
CELERY_TASK_ACKS_LATE = True
CELERY_TASK_REJECT_ON_WORKER_LOST = True
CELERY_WORKER_PREFETCH_MULTIPLIER = 1
CELERY_TASK_TIME_LIMIT = 240
CELERY_TASK_SOFT_TIME_LIMIT = 210
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_BROKER_CONNECTION_MAX_RETRIES = None  # for as long as it is away
# A message held by a killed worker comes back after this long; no task may run longer (the time limit above).
CELERY_BROKER_TRANSPORT_OPTIONS = {"visibility_timeout": 300, "unacked_restore_throttle": 1}
CELERY_TIMEZONE = "UTC"
CELERY_BEAT_SCHEDULE_FILENAME = str(DATA_DIR / "beat-schedule")
# How often each periodic job runs, in seconds. Tests with a real worker run them faster.
REMINDER_TICK_SECONDS = float(os.environ.get("REMINDER_TICK_SECONDS", "60"))
# A sender silent for so long about a mail in its hand counts as gone. Longer than the slowest single mail:
# EMAIL_TIMEOUT for each of some eight exchanges with the server.
REMINDER_LEASE_SECONDS = float(os.environ.get("REMINDER_LEASE_SECONDS", "300"))

# Push services that browsers name and the site writes to; below each of these names as well.
PUSH_HOSTS = [
    one.strip()
    for one in os.environ.get(
        "PUSH_HOSTS",
        "fcm.googleapis.com,push.services.mozilla.com,notify.windows.com,push.apple.com",
    ).split(",")
    if one.strip()
]

AUTH_USER_MODEL = "members.User"
# allauth's, of which Django's own is a part: asking that one too would hash each wrong password twice.
AUTHENTICATION_BACKENDS = ["club.members.backends.OneQueryBackend"]
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": "django.contrib.auth.password_validation.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("email", "name")},
    },
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "django.contrib.auth.password_validation.CommonPasswordValidator"},
    {"NAME": "django.contrib.auth.password_validation.NumericPasswordValidator"},
]
LOGIN_URL = "account_login"
LOGIN_REDIRECT_URL = "desk:home"
ACCOUNT_ADAPTER = "club.members.adapter.InvitationOnlyAdapter"
ACCOUNT_LOGIN_METHODS = {"email"}
ACCOUNT_SIGNUP_FIELDS = ["email*", "password1*"]
ACCOUNT_USER_MODEL_USERNAME_FIELD = None
ACCOUNT_EMAIL_VERIFICATION = "mandatory"
ACCOUNT_EMAIL_UNKNOWN_ACCOUNTS = False
ACCOUNT_LOGOUT_ON_PASSWORD_CHANGE = True
# Whoever sits at somebody's open browser does not take the account along: emails change with the password alone, and
# a change is told to the address that was there before.
ACCOUNT_REAUTHENTICATION_REQUIRED = True
ACCOUNT_EMAIL_NOTIFICATIONS = True
ACCOUNT_SESSION_REMEMBER = True  # but for a shared device, see club/members/adapter.py
ACCOUNT_FORMS = {
    "login": "club.members.forms.SignInForm",
    "request_login_code": "club.members.forms.CodeRequestForm",
    "confirm_login_code": "club.members.forms.CodeForm",
    "reset_password": "club.members.forms.ResetForm",
}
# How often, before an answer of 429 or "too many". The first one counts second factors; passwords, mailed codes and
# reset mails are counted by club/members/adapter.py.
ACCOUNT_RATE_LIMITS = {
    "login_failed": "5/5m/key,10/m/ip",
    "login": "30/m/ip",
    "reset_password": "20/m/ip",
    "request_login_code": "20/m/ip",
}
# A second way in, for who forgot the password or is locked out by a stranger's guesses: a code sent by mail.
ACCOUNT_LOGIN_BY_CODE_ENABLED = True
ACCOUNT_LOGIN_BY_CODE_TIMEOUT = 10 * 60
MFA_ADAPTER = "club.members.adapter.SecondFactorAdapter"
MFA_FORMS = {
    "activate_totp": "club.members.forms.OneTimeCodeForm",
    "add_webauthn": "club.members.forms.PasskeyForm",
    "edit_webauthn": "club.members.forms.PasskeyNameForm",
}
MFA_SUPPORTED_TYPES = ["webauthn", "totp", "recovery_codes"]
MFA_PASSKEY_LOGIN_ENABLED = True
# The address that signs in is confirmed already; a second one that is not yet confirmed opens nothing.
MFA_ALLOW_UNVERIFIED_EMAIL = True
# Whether organisers, keepers and whoever uses the admin site must have a second factor; everybody else may.
REQUIRE_SECOND_FACTOR = flag("REQUIRE_SECOND_FACTOR")
# A sign-in ends after so long without a page, and after so long whatever was done; on a shared device also when the
# browser is closed.
SESSION_IDLE_DAYS = float(os.environ.get("SESSION_IDLE_DAYS", "14"))
SESSION_LONGEST_DAYS = float(os.environ.get("SESSION_LONGEST_DAYS", "90"))
SHARED_DEVICE_MINUTES = float(os.environ.get("SHARED_DEVICE_MINUTES", "30"))
SESSION_COOKIE_AGE = int(SESSION_IDLE_DAYS * 86_400)
INVITATION_DAYS = 14

LANGUAGE_CODE = "en"
LOCALE_PATHS = [BASE_DIR / "club" / "locale"]


def languages_in(*locale_paths: Path) -> list[tuple[str, Any]]:
    """English, in which the pages are written, and whatever has a compiled catalogue: no page claims another."""
    found = {to_language(made.parts[-3]) for path in locale_paths for made in path.glob("*/LC_MESSAGES/*.mo")}
    return [(code, _(LANG_INFO[code]["name"])) for code in [LANGUAGE_CODE, *sorted(found - {LANGUAGE_CODE})]]


LANGUAGES = languages_in(*LOCALE_PATHS)
FORMAT_MODULE_PATH = ["club.formats"]
USE_I18N = True
USE_TZ = True
# The club's own zone: the database holds UTC, people see this.
TIME_ZONE = os.environ.get("CLUB_TIME_ZONE", "America/Denver")

STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
STATICFILES_DIRS = [
    BASE_DIR / "club" / "static",
    ("bootstrap", bootstrap_wrapper.get_bootstrap_dir()),
]
STATICFILES_FINDERS = ["club.core.static_files.ChosenFileSystemFinder", "club.core.static_files.ChosenAppFinder"]
# Of packages that bring dozens of variants, the files that pages use, and the map that the stylesheet names.
STATICFILES_CHOSEN = {
    "bootstrap": ["bootstrap/css/bootstrap.min.css", "bootstrap/css/bootstrap.min.css.map"],
    "django_htmx": ["django_htmx/htmx-2.min.js", "django_htmx/django-htmx.js"],  # the second one with DEBUG
}
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"
        if DEBUG
        else "whitenoise.storage.CompressedManifestStaticFilesStorage"
    },
}
WHITENOISE_KEEP_ONLY_HASHED_FILES = True

CRISPY_ALLOWED_TEMPLATE_PACKS = "bootstrap5"
CRISPY_TEMPLATE_PACK = "bootstrap5"
FORM_RENDERER = "club.core.drawing.WidgetRenderer"

DEFAULT_FROM_EMAIL = os.environ.get("MAIL_FROM") or formataddr((CLUB_NAME, "kettlehall@localhost"))
SERVER_EMAIL = DEFAULT_FROM_EMAIL
if "SMTP_HOST" in os.environ:
    EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    EMAIL_HOST = os.environ["SMTP_HOST"]
    EMAIL_PORT = int(os.environ.get("SMTP_PORT", "587"))
    EMAIL_HOST_USER = os.environ.get("SMTP_USER", "")
    EMAIL_HOST_PASSWORD = os.environ.get("SMTP_PASSWORD", "")
    EMAIL_USE_TLS = flag("SMTP_TLS", default=True)
    EMAIL_TIMEOUT = 20
else:
    EMAIL_BACKEND = "django.core.mail.backends.filebased.EmailBackend"
    EMAIL_FILE_PATH = str(DATA_DIR / "mail")

# A photograph may have 8 MB (club.core.photos), a table 5 MB; a little more is let in, to be told so by its form.
MOST_BODY_BYTES = 12 * 1024 * 1024
DATA_UPLOAD_MAX_MEMORY_SIZE = 2_500_000  # of a body without its files
DATA_UPLOAD_MAX_NUMBER_FILES = 3
# Where a plan learns what is known of a canner by its code. Canners are of a room above the recipes', which ask it by
# this name and import nothing of it: `canner_codes(user, kinds)` and `plan_with_canner(...)`.
CANNERS_OF_PLANS = "inventory.batches.services.canners"
# And how earlier batches of a recipe came out in the household of whoever plans: `came_out_before(user, revision)`.
NOTES_OF_PLANS = "inventory.batches.services.afterwards"
# And what the kitchen, the store and the reader have of what a plan needs: `empties_in(kitchen)`, `needed_for(...)`.
AT_HAND_OF_PLANS = "inventory.batches.at_hand"
# The same for what the logs teach of a recipe's yield: `Batch.objects.logged_of(recipe, user, between)`.
BATCHES_OF_RECIPES = "inventory.batches.models"

FILE_UPLOAD_MAX_MEMORY_SIZE = 1024 * 1024  # a longer file waits on the disk
# The longest draft form, 60 ingredients and 60 process rows, has some 1,900 fields.
DATA_UPLOAD_MAX_NUMBER_FIELDS = 2_500

SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
X_FRAME_OPTIONS = "DENY"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
CSRF_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = IS_HTTPS
# A browser keeps a cookie of such a name only from this very host, over https, for all of its paths.
COOKIE_PREFIX = "__Host-" if IS_HTTPS else ""
SESSION_COOKIE_NAME = f"{COOKIE_PREFIX}sessionid"
CSRF_COOKIE_NAME = f"{COOKIE_PREFIX}csrftoken"
KNOWN_DEVICE_COOKIE_NAME = f"{COOKIE_PREFIX}known"
MESSAGE_STORAGE = "club.core.middleware.MessageStorage"
SECURE_SSL_REDIRECT = IS_HTTPS and flag("SSL_REDIRECT", default=True)
SECURE_REDIRECT_EXEMPT = [r"^healthz(/live|/ready)?$"]  # asked over plain HTTP from this machine
SECURE_HSTS_SECONDS = 31_536_000 if IS_HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = IS_HTTPS and flag("HSTS_SUBDOMAINS", default=True)
# Browsers' own lists (preload) are for whoever owns the domain to ask for: leaving them takes months.
SILENCED_SYSTEM_CHECKS = ["security.W021"]
if flag("BEHIND_PROXY"):
    ALLAUTH_TRUSTED_PROXY_COUNT = 1  # else every visitor shares one rate limit, the proxy's
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [SELF],
        "script-src": [SELF, NONCE],
        "style-src": [SELF, NONCE],
        "img-src": [SELF, "data:"],  # Bootstrap's own CSS draws its marks as data: pictures
        "object-src": [NONE],
        "base-uri": [NONE],
        "form-action": [SELF],
        "frame-ancestors": [NONE],
    }
}

# Errors are mailed to these addresses, with commas between.
ADMINS = [("", address.strip()) for address in os.environ.get("ADMINS", "").split(",") if address.strip()]
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {"ours": logs.formatter()},
    "filters": {"news": {"()": lambda: logs.is_news}},
    "handlers": {
        "console": {"class": "logging.StreamHandler", "formatter": "ours"},
        "mail": {"()": logs.MailToAdmins},
    },
    "root": {"handlers": ["console", "mail"], "level": os.environ.get("LOG_LEVEL", "INFO")},
    "loggers": {
        "django": {"handlers": [], "level": "INFO"},  # else Django's own mail, with all that the request sent
        "django.request": {"filters": ["news"]},
        "celery": {"level": os.environ.get("LOG_LEVEL", "WARNING")},
    },
}
