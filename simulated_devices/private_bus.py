"""A D-Bus daemon of one's own, in a temporary folder: never the machine's real bus."""

import contextlib
import ctypes
import os
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

from simulated_devices import Refused

VARIABLE = "DBUS_SYSTEM_BUS_ADDRESS"
REAL_BUSES = ("/run/dbus/system_bus_socket", "/var/run/dbus/system_bus_socket")

_CONFIG = """\
<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig>
  <type>session</type>
  <listen>unix:path={path}</listen>
  <auth>EXTERNAL</auth>
  <policy context="default">
    <allow send_destination="*" eavesdrop="true"/>
    <allow eavesdrop="true"/>
    <allow own="*"/>
  </policy>
</busconfig>
"""


def given_bus() -> str | None:
    """Return the bus that the environment names, or None; refuse the machine's real one."""
    address = os.environ.get(VARIABLE, "")
    if not address:
        return None
    if any(f"path={path}" in address for path in REAL_BUSES):
        raise Refused(
            f"{VARIABLE} names this machine's real bus, where an invented Bluetooth has no "
            "business. Unset it, and a private one is started."
        )
    return address


@contextlib.contextmanager
def private_bus() -> Iterator[str]:
    """Run a bus and yield its address; it ends with the block, and with this process.

    Raises
    ------
    Refused
        There is no `dbus-daemon`, or it does not start.
    """
    program = shutil.which("dbus-daemon")
    if program is None:
        raise Refused(
            "The program dbus-daemon is missing. Install it: sudo apt-get install dbus-daemon."
        )
    folder = Path(tempfile.mkdtemp(prefix="simulated-bus-"))
    config = folder / "bus.conf"
    config.write_text(_CONFIG.format(path=folder / "bus"))
    process = subprocess.Popen(
        [program, f"--config-file={config}", "--nofork", "--nopidfile", "--print-address=1"],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=_end_with_parent,
    )
    assert process.stdout is not None
    assert process.stderr is not None
    try:
        address = process.stdout.readline().strip()
        if not address:
            raise Refused(f"dbus-daemon does not start: {process.stderr.read().strip()}")
        yield address
    finally:
        process.terminate()
        process.wait(timeout=10)
        process.stdout.close()
        process.stderr.close()
        shutil.rmtree(folder, ignore_errors=True)


def _end_with_parent() -> None:
    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(1, signal.SIGTERM)  # PR_SET_PDEATHSIG
