"""Settings, from the environment alone. Safe by default; ``PLATES_ENV=production`` is strict."""

import os
import secrets
from collections.abc import MutableMapping
from datetime import timedelta
from ipaddress import ip_network
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

from shop.database import data_dir, databases

BASE_DIR = Path(__file__).resolve().parent.parent
DATA_DIR = data_dir(os.environ, BASE_DIR)
PRODUCTION = os.environ.get("PLATES_ENV", "") == "production"
DEBUG = False


def _list(name: str, default: str = "") -> list[str]:
    return [part.strip() for part in os.environ.get(name, default).split(",") if part.strip()]


def _secret_key() -> str:
    """``PLATES_SECRET_KEY``, else a key that is made once and kept in the data directory."""
    if key := os.environ.get("PLATES_SECRET_KEY"):
        return key
    file = DATA_DIR / "secret_key"
    if not file.exists():
        DATA_DIR.mkdir(parents=True, exist_ok=True)
        new = file.with_name(f"secret_key.{os.getpid()}")
        new.touch(mode=0o600)
        new.write_text(secrets.token_urlsafe(50))
        try:
            os.link(new, file)  # the first of several processes wins, and nobody reads half a key
        except FileExistsError:
            pass
        finally:
            new.unlink()
    return file.read_text()


SECRET_KEY = _secret_key()
ALLOWED_HOSTS = _list("PLATES_HOSTS", "" if PRODUCTION else "127.0.0.1,localhost,[::1]")
try:
    #: Whose word on a client's address is taken: the proxy's, on this machine unless it is said otherwise.
    PROXIES = [ip_network(one) for one in _list("PLATES_PROXY", "127.0.0.1,::1")]
except ValueError:
    raise ImproperlyConfigured("PLATES_PROXY names addresses, as 10.1.0.2 or 10.1.0.0/24, with commas.") from None
CSRF_TRUSTED_ORIGINS = _list("PLATES_ORIGINS")
CSRF_FAILURE_VIEW = "shop.web.form_refused"
if PRODUCTION and not ALLOWED_HOSTS:
    raise ImproperlyConfigured("PLATES_HOSTS names the hosts that this shop answers for, as shop.example; set it.")

INSTALLED_APPS = [
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django_htmx",
    "django_filters",
    "rest_framework",
    "drf_spectacular",
    "shop",
    "plates",
    "axes",  # behind the shop, which writes the last wrong password down before axes shuts its name out
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "shop.watch.Watch",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "shop.web.RefusalPages",
    "shop.rest.TlsOnly",
    "axes.middleware.AxesMiddleware",
]
ROOT_URLCONF = "shop.urls"
WSGI_APPLICATION = "shop.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
            ],
        },
    }
]

DATABASES = databases(os.environ, BASE_DIR)
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTH_USER_MODEL = "shop.Person"
AUTHENTICATION_BACKENDS = ["axes.backends.AxesStandaloneBackend", "django.contrib.auth.backends.ModelBackend"]
#: So many wrong passwords in a row for a name, from wherever, and for so long no password is judged for it. A badge
#: still signs in, so that nobody at a terminal is kept from work by somebody who plays with a name.
AXES_FAILURE_LIMIT = 10
AXES_COOLOFF_TIME = timedelta(minutes=15)
AXES_LOCKOUT_PARAMETERS = ["username"]
# Tries for a name are counted together whatever address they come from, which is only written down.
SILENCED_SYSTEM_CHECKS = ["axes.W006"]
AXES_CLIENT_IP_CALLABLE = "shop.watch.client_address"
AXES_RESET_ON_SUCCESS = True
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False
AXES_LOCKOUT_CALLABLE = "shop.sign_in.locked_out"
#: With each name axes keeps the form that came with the wrong password. Nothing of it that is secret, nor a typing
#: error away from it, is kept.
AXES_SENSITIVE_PARAMETERS = ["username", "ip_address", "csrfmiddlewaretoken", "password_now", "now"]
AXES_SENSITIVE_PARAMETERS += ["pin", "badge", "otp"]
AXES_DISABLE_ACCESS_LOG = True  # the audit of each shop has its sign-ins
AXES_VERBOSE = AXES_ENABLE_ADMIN = False
LOGIN_URL = "sign-in"
LOGIN_REDIRECT_URL = "home"
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.Argon2PasswordHasher",
    "django.contrib.auth.hashers.PBKDF2PasswordHasher",
]
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": "django.contrib.auth.password_validation.MinimumLengthValidator", "OPTIONS": {"min_length": 10}},
    {"NAME": "shop.people.passwords.Guessable"},
]

LANGUAGE_CODE = "en"
TIME_ZONE = os.environ.get("PLATES_TIME_ZONE", "UTC")
USE_I18N = False
USE_TZ = True

STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static" if PRODUCTION else None  # served from where they lie, when not in production
STORAGES = {
    "default": {"BACKEND": "django.core.files.storage.FileSystemStorage"},
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if PRODUCTION
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}
WHITENOISE_USE_FINDERS = not PRODUCTION


def WHITENOISE_ADD_HEADERS_FUNCTION(headers: MutableMapping[str, str], path: str, url: str) -> None:
    """A file opened by itself loads nothing and is in no frame."""
    headers["Content-Security-Policy"] = "default-src 'none'; frame-ancestors 'none'"
    if path.endswith(".svg"):
        headers["Content-Type"] = "image/svg+xml; charset=utf-8"


#: A body larger than this is refused with 413; a delivery of a thousand readings stays far below.
DATA_UPLOAD_MAX_MEMORY_SIZE = 1_000_000
DATA_UPLOAD_MAX_NUMBER_FIELDS = 10_000  # the buy list of one supplier has a field for each of its sizes
#: A file that somebody sends stays in memory, never on disk; a longer body is read past, and its file is not there.
FILE_UPLOAD_HANDLERS = ["django.core.files.uploadhandler.MemoryFileUploadHandler"]
FILE_UPLOAD_MAX_MEMORY_SIZE = 10_100_000

SESSION_COOKIE_HTTPONLY = CSRF_COOKIE_HTTPONLY = True
#: Whoever signed in signs in again after a working day and some hours, whether somebody was always there or not.
SESSION_COOKIE_AGE = 16 * 3600
TERMINAL_COOKIE_NAME = "terminal"
SESSION_COOKIE_SAMESITE = "Lax"
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
if PRODUCTION:
    SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = True
    # A browser takes such a cookie from this host alone, over TLS, for all of it.
    SESSION_COOKIE_NAME, CSRF_COOKIE_NAME, TERMINAL_COOKIE_NAME = "__Host-session", "__Host-csrf", "__Host-terminal"
    SECURE_SSL_REDIRECT = True
    # The API is not led to TLS, but refused: whoever sent a token in the clear is to notice (``shop.rest.TlsOnly``).
    SECURE_REDIRECT_EXEMPT = [r"^healthz$", r"^readyz$", r"^metrics$", r"^api/"]
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    SECURE_HSTS_SECONDS = 31_536_000
    # Subdomains are the domain's affair, and so is the preload list: whoever has the whole domain says so.
    SECURE_HSTS_INCLUDE_SUBDOMAINS = os.environ.get("PLATES_HSTS_SUBDOMAINS") == "1"
    SILENCED_SYSTEM_CHECKS += ["security.W005", "security.W021"]

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": ["shop.rest.TokenAuthentication"],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_PARSER_CLASSES": ["shop.rest.StrictJSONParser"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_PAGINATION_CLASS": "shop.rest.Pages",
    "DEFAULT_FILTER_BACKENDS": ["shop.rest.StrictFilters"],
    "DEFAULT_SCHEMA_CLASS": "drf_spectacular.openapi.AutoSchema",
    "EXCEPTION_HANDLER": "shop.rest.problem_handler",
    "UNAUTHENTICATED_USER": None,
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Clutch plate shelf",
    "VERSION": "1",
    "OAS_VERSION": "3.1.1",
    "SERVE_INCLUDE_SCHEMA": False,
    "SERVE_PERMISSIONS": ["rest_framework.permissions.AllowAny"],
    "SCHEMA_PATH_PREFIX": "/api/v1/",
    "COMPONENT_SPLIT_REQUEST": True,
    "ENUM_ADD_EXPLICIT_BLANK_NULL_CHOICE": False,
    "ENUM_NAME_OVERRIDES": {
        "PlateState": "plates.stock.models.State",
        "MatchState": "plates.bench.models.MatchState",
        "CountState": "plates.stock.count_models.CountState",
        "WaveState": "plates.catalogue.spec_models.WAVE_STATES",
        "Measures": "plates.catalogue.spec_models.MEASURES",
        "Method": "plates.measuring.uncertainty.METHODS",
        "BuyingMethod": "plates.buying.models.Method",
        "OrderState": "plates.buying.models.OrderState",
        "ClaimState": "plates.buying.claim_models.ClaimState",
        "ClaimSettled": "plates.buying.claim_models.SETTLED",
    },
}

#: Reads the metrics from elsewhere than this machine; none, and nobody does.
METRICS_TOKEN = os.environ.get("PLATES_METRICS_TOKEN", "")
if METRICS_TOKEN and len(METRICS_TOKEN) < 20:
    raise ImproperlyConfigured("PLATES_METRICS_TOKEN is short enough to be guessed: give it 20 characters or more.")

LOG = os.environ.get("PLATES_LOG") or ("json" if PRODUCTION else "plain")
if LOG not in ("json", "plain"):
    raise ImproperlyConfigured(f"PLATES_LOG is json or plain, not {LOG!r}.")
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "plain": {"format": "{asctime} {levelname} {name} {message}", "style": "{"},
        "json": {"()": "shop.log.JsonLine"},
    },
    "handlers": {"console": {"class": "logging.StreamHandler", "formatter": LOG}},
    "root": {"handlers": ["console"], "level": "WARNING"},
    "loggers": {
        # A refusal is an answer, not a fault of ours.
        "django.request": {"level": "ERROR"},
        "shop.request": {"level": "INFO" if LOG == "json" else "WARNING"},
        "shop.refused": {"level": "INFO" if LOG == "json" else "WARNING"},
    },
}
