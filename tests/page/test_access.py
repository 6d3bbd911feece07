import re
from pathlib import Path
from typing import Any

import pytest

from rig.page.access import host_is_ours, new_key, origin_is_ours, same_key, site_is_ours
from rig.page.kept_key import kept_key


def test_keys_are_fresh_long_and_fit_an_address() -> None:
    keys = {new_key() for _ in range(200)}
    assert len(keys) == 200
    assert all(re.fullmatch(r"[A-Za-z0-9_-]{16,}", key) for key in keys)


def test_only_the_key_itself_is_the_key() -> None:
    key = new_key()
    assert same_key(key, key)
    for wrong in ("", key[:-1], key + "x", key.swapcase(), "é" * len(key), "\udcff"):
        assert not same_key(wrong, key)


@pytest.mark.parametrize(
    ("host", "reached", "ours"),
    [
        ("127.0.0.1:8080", "127.0.0.1", True),
        ("localhost:8080", "127.0.0.1", True),
        ("LOCALHOST:8080", "127.0.0.1", True),
        ("[::1]:8080", "::1", True),
        ("192.168.0.7:8080", "::ffff:192.168.0.7", True),
        ("192.168.0.7:8080", "192.168.0.7", True),
        ("192.168.0.8:8080", "192.168.0.7", False),
        ("127.0.0.1:8081", "127.0.0.1", False),
        ("127.0.0.1", "127.0.0.1", False),
        ("evil.example:8080", "127.0.0.1", False),
        ("127.0.0.1.evil.example:8080", "127.0.0.1", False),
        ("localhost.evil.example:8080", "127.0.0.1", False),
        ("127.0.0.1:8080:8080", "127.0.0.1", False),
        ("127.0.0.1:٨٠٨٠", "127.0.0.1", False),
        ("", "127.0.0.1", False),
        (":8080", "127.0.0.1", False),
        ("[::1]", "::1", False),
    ],
)
def test_a_foreign_host_is_told_from_ours(host: Any, reached: Any, ours: Any) -> None:
    assert host_is_ours(host, reached, 8080, {"localhost"}) is ours


@pytest.mark.parametrize(
    ("origin", "ours"),
    [
        (None, True),
        ("http://127.0.0.1:8080", True),
        ("http://127.0.0.1:9000", False),
        ("https://127.0.0.1:8080", False),
        ("http://evil.example", False),
        ("null", False),
        ("", False),
    ],
)
def test_a_foreign_origin_is_told_from_ours(origin: Any, ours: Any) -> None:
    assert origin_is_ours(origin, "127.0.0.1:8080") is ours


def test_another_site_may_link_here_but_fetch_nothing() -> None:
    assert site_is_ours(None, None)
    assert site_is_ours("same-origin", "cors")
    assert site_is_ours("cross-site", "navigate")
    assert not site_is_ours("cross-site", "no-cors")
    assert not site_is_ours("same-site", "websocket")


def test_a_folders_key_is_kept_until_it_is_renewed_or_others_may_read_it(tmp_path: Path) -> None:
    key = kept_key(tmp_path)
    assert len(key) >= 16
    assert (tmp_path / ".key").stat().st_mode & 0o777 == 0o600
    assert kept_key(tmp_path) == key
    renewed = kept_key(tmp_path, renew=True)
    assert renewed != key
    assert kept_key(tmp_path) == renewed
    (tmp_path / ".key").chmod(0o644)
    secret = kept_key(tmp_path)
    assert secret != renewed
    for content in ("short", "a/../b" * 8, "k" * 65):
        (tmp_path / ".key").write_text(content)
        assert kept_key(tmp_path) not in (content, secret)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.write_text("k" * 24)
    elsewhere.chmod(0o600)
    (tmp_path / ".key").unlink()
    (tmp_path / ".key").symlink_to(elsewhere)
    assert kept_key(tmp_path) != "k" * 24
    assert elsewhere.read_text() == "k" * 24
