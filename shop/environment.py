"""Reads settings from the environment; a wrong value stops the start with its cause and the way out."""

import os
import secrets
from pathlib import Path

from django.core.exceptions import ImproperlyConfigured

_TRUE = {"1", "true", "yes", "on"}
_FALSE = {"0", "false", "no", "off", ""}


def text(name: str, default: str = "") -> str:
    return os.environ.get(name, default).strip()


def flag(name: str, default: bool = False) -> bool:
    value = text(name, "1" if default else "0").lower()
    if value in _TRUE:
        return True
    if value in _FALSE:
        return False
    raise ImproperlyConfigured(f"{name}={value!r}: write 1 or 0.")


def names(name: str, default: str = "") -> list[str]:
    return [part.strip() for part in text(name, default).split(",") if part.strip()]


def folder(name: str, default: str | Path) -> Path:
    path = Path(text(name) or default).expanduser()
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ImproperlyConfigured(f"{name}={path}: the folder can't be made ({error.strerror}).") from error
    return path


def secret_key(data_dir: Path) -> str:
    """The signing key: SECRET_KEY, else a random one kept in the data folder and made there once."""
    key = text("SECRET_KEY")
    if not key:
        return _kept_key(data_dir / "secret_key")
    if len(key) < 50:
        raise ImproperlyConfigured(
            "SECRET_KEY is shorter than 50 characters: set a longer one, or leave it out and one is made."
        )
    return key


def _kept_key(path: Path) -> str:
    try:
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as file:
            file.write(secrets.token_urlsafe(60))
    except FileExistsError:
        pass
    except OSError as error:
        raise ImproperlyConfigured(f"{path}: the key can't be kept there ({error.strerror}).") from error
    return path.read_text(encoding="ascii").strip()
