"""The broker of a place: Debian's mosquitto, run on a folder of its own.

The folder holds the accounts, the site's own certificate authority and what the broker is told;
nothing of what rods say is kept in it.
"""

import base64
import getpass
import hashlib
import json
import os
import re
import secrets
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Iterable
from pathlib import Path
from typing import cast, get_args

from rig.devices.authority import authority_in, certified
from rig.devices.site import ROOT, Account, Role, kept_secret
from rig.errors import BadInput, DeviceUnavailable
from rig.language import put, say

PORT = 8883
START_S = 5.0
ROUNDS = 101
"""Of the hash; the passwords themselves are 160 random bits."""
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.-]{0,31}")
_PROGRAMS = ("mosquitto", "/usr/sbin/mosquitto", "/usr/local/sbin/mosquitto")

_FOR_ALL = f"""pattern write {ROOT}/+/rod/%u/said
pattern write {ROOT}/+/rod/%u/link
pattern write {ROOT}/+/rod/%u/act
pattern read {ROOT}/+/rod/%u/+
"""
_FOR: dict[Role, str] = {
    "rod": f"topic read {ROOT}/+/session\ntopic write {ROOT}/+/clock/+\n",
    "phone": f"topic read {ROOT}/+/session\ntopic read {ROOT}/+/now/#\n"
    f"topic read {ROOT}/+/rod/+/now\ntopic read {ROOT}/+/rod/+/link\n"
    f"topic write {ROOT}/+/rod/+/act\n",
    "session": f"topic readwrite {ROOT}/#\n",
}


class Site:
    """A folder that a broker runs on.

    Parameters
    ----------
    folder : Path
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    @property
    def is_there(self) -> bool:
        """Whether a broker ever ran on it."""
        return (self.folder / "site.json").exists()

    def url(self) -> str:
        """Return where the broker is.

        Raises
        ------
        DeviceUnavailable
            Where there is no site in the folder.
        """
        try:
            told = json.loads((self.folder / "site.json").read_text())
            return str(told["url"])
        except (OSError, ValueError, KeyError, TypeError):
            raise DeviceUnavailable(
                say(
                    "There is no site in {folder}: rig site up --folder FOLDER makes one.",
                    folder=self.folder,
                )
            ) from None

    def invite(self, name: str, role: Role) -> Account:
        """Make an account, or a new password for one that is there; a running broker knows it.

        Raises
        ------
        BadInput
            A name that topics cannot bear.
        DeviceUnavailable
            Where there is no site.
        """
        if _NAME.fullmatch(name) is None:
            raise BadInput(
                say(
                    "{name!r} cannot be the name of an account: up to 32 letters without accents, "
                    "digits, and - _ . between them.",
                    name=name,
                )
            )
        url = self.url()
        password = secrets.token_urlsafe(20)
        accounts = self._accounts()
        accounts[name] = (role, _hashed(password))
        kept_secret(self.folder / "accounts.json", json.dumps(accounts, indent=1))
        self._write_accounts()
        self._reload()
        authority = authority_in(self.folder).cert_pem.bytes().decode()
        return Account(url=url, name=name, role=role, password=password, certificate=authority)

    def prepare(self, host: str, shown: str, port: int, names: Iterable[str]) -> str:
        """Write what the broker is told; return its address.

        Parameters
        ----------
        host : str
            Where it listens.
        shown : str
            Name or address by which others reach it.
        port : int
        names : iterable of str
            All by which it may be reached.
        """
        folder = self.folder.absolute()
        try:
            folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        except OSError as error:
            raise BadInput(
                say("{folder} cannot be made: {reason}.", folder=folder, reason=error.strerror)
            ) from None
        leaf = certified(authority_in(folder), {*names, shown}, time.time())
        chain = b"".join(pem.bytes() for pem in leaf.cert_chain_pems).decode()
        kept_secret(folder / "broker.crt", chain)
        kept_secret(folder / "broker.key", leaf.private_key_pem.bytes().decode())
        self._write_accounts()
        url = f"mqtts://{f'[{shown}]' if ':' in shown else shown}:{port}"
        kept_secret(folder / "site.json", json.dumps({"url": url}))
        told = [
            f"listener {port} {host}".rstrip(),
            f"certfile {folder / 'broker.crt'}",
            f"keyfile {folder / 'broker.key'}",
            "tls_version tlsv1.3",
            "set_tcp_nodelay true",
            "allow_anonymous false",
            f"password_file {folder / 'passwords'}",
            f"acl_file {folder / 'rights'}",
            f"pid_file {folder / 'broker.pid'}",
            f"user {getpass.getuser()}",
            "persistence false",
            "max_queued_messages 2000",
            "max_inflight_messages 200",
            "max_packet_size 262144",
            "log_dest stderr",
            "log_type error",
            "log_type warning",
        ]
        kept_secret(folder / "broker.conf", "\n".join(told) + "\n")
        return url

    def start(self) -> "subprocess.Popen[bytes]":
        """Start the broker and return once it listens.

        Raises
        ------
        DeviceUnavailable
            Where the program is missing, or it ends at once, with what it says.
        """
        program = next(filter(None, map(shutil.which, _PROGRAMS)), None)
        if program is None:
            raise DeviceUnavailable(
                say("The broker mosquitto is not installed: sudo apt-get install mosquitto.")
            )
        told = (self.folder / "broker.conf").read_text().split()
        host, port = _listens_at(told)
        if _answers(host, port):
            raise DeviceUnavailable(
                say(
                    "Port {port} is taken by another program: give --port, or end that first.",
                    port=put(str(port)),
                )
            )
        log = self.folder / "broker.log"
        with open(os.open(log, os.O_CREAT | os.O_APPEND | os.O_WRONLY, 0o600), "ab") as out:
            begun = out.tell()
            process = subprocess.Popen(
                [program, "-c", str(self.folder / "broker.conf")],
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=out,
                start_new_session=True,
            )
        until_s = time.monotonic() + START_S
        while not _answers(host, port):
            if process.poll() is not None or time.monotonic() > until_s:
                process.kill()
                said = log.read_bytes()[begun:].decode(errors="replace").strip()
                last = said.splitlines()[-1] if said else say("it said nothing")
                raise DeviceUnavailable(
                    say("The broker does not start ({last}); see {log}.", last=last, log=log)
                )
            time.sleep(0.02)
        return process

    def _accounts(self) -> dict[str, tuple[Role, str]]:
        kept = self.folder / "accounts.json"
        if not kept.exists():
            return {}
        try:
            told = json.loads(kept.read_text())
            return {str(name): (cast("Role", role), str(key)) for name, (role, key) in told.items()}
        except (OSError, ValueError, TypeError, AttributeError):
            raise BadInput(
                say("{kept} is damaged: move it away, and invite anew.", kept=kept)
            ) from None

    def _write_accounts(self) -> None:
        accounts = self._accounts()
        passwords = "".join(f"{name}:{key}\n" for name, (_, key) in accounts.items())
        kept_secret(self.folder / "passwords", passwords)
        rights = [_FOR_ALL]
        for name, (role, _) in accounts.items():
            if role in get_args(Role):
                rights.append(f"user {name}\n{_FOR[role]}")
        kept_secret(self.folder / "rights", "\n".join(rights))

    def _reload(self) -> None:
        """Let a broker that runs read its accounts again."""
        try:
            number = int((self.folder / "broker.pid").read_text())
            command = Path(f"/proc/{number}/cmdline").read_bytes()
            if b"mosquitto" in command:
                os.kill(number, signal.SIGHUP)
        except (OSError, ValueError):
            return  # it reads them when it starts


def _hashed(password: str) -> str:
    """Return a password as mosquitto's password file has it (mosquitto_passwd(1), version 7)."""
    salt = secrets.token_bytes(12)
    key = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, ROUNDS)
    told = (base64.b64encode(one).decode() for one in (salt, key))
    return f"$7${ROUNDS}${'$'.join(told)}"


def _listens_at(told: list[str]) -> tuple[str, int]:
    host = told[2] if told[2] != "certfile" else "127.0.0.1"
    return ("127.0.0.1" if host in ("0.0.0.0", "::") else host), int(told[1])


def _answers(host: str, port: int) -> bool:
    try:
        with socket.create_connection((host, port), timeout=0.5):
            return True
    except OSError:
        return False
