"""A real broker for tests: mosquitto on free loopback ports, with passwords, rights, TLS and persistence.

Needs the Debian package `mosquitto`, which holds `mosquitto_passwd` too.
"""

import datetime as dt
import ipaddress
import os
import signal
import socket
import subprocess
import tempfile
import time
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Self

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from gatewayd.model.route import Secret
from gatewayd.settings.typed import Broker

KEEPER, KEEPER_PASSWORD = "keeper", "trout and venison"  # gatewayd's own user
SENSOR, SENSOR_PASSWORD = "sensor", "plums and beans"
RIGHTS = f"user {KEEPER}\ntopic read house/#\ntopic readwrite gatewayd/#\nuser {SENSOR}\ntopic write house/#\n"
NO_MARKER = RIGHTS.replace("gatewayd/#", "gatewayd/heron-lane/status")
# What the README tells the keeper to set so that nothing is lost.
LOSSLESS = (
    "autosave_on_changes true",
    "autosave_interval 1",
    "max_queued_messages 100000",
)


def free_port() -> int:
    """Return a loopback port that nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Authority:
    """A throw-away certificate authority that vouches for one server."""

    def __init__(self, folder: Path, hosts: Sequence[str] = ("localhost", "127.0.0.1")) -> None:
        """Write ca.pem, server.pem and server.key into `folder`."""
        self.ca, self.certificate, self.key = folder / "ca.pem", folder / "server.pem", folder / "server.key"
        ca_key, key = ec.generate_private_key(ec.SECP256R1()), ec.generate_private_key(ec.SECP256R1())
        usage = x509.KeyUsage(
            digital_signature=False,
            content_commitment=False,
            key_encipherment=False,
            data_encipherment=False,
            key_agreement=False,
            key_cert_sign=True,
            crl_sign=True,
            encipher_only=False,
            decipher_only=False,
        )
        ca = (
            _blank("Heron Lane test authority", ca_key.public_key())
            .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
            .add_extension(usage, critical=True)
            .add_extension(x509.SubjectKeyIdentifier.from_public_key(ca_key.public_key()), critical=False)
            .sign(ca_key, hashes.SHA256())
        )
        names = [x509.IPAddress(ipaddress.ip_address(h)) if h[0].isdigit() else x509.DNSName(h) for h in hosts]
        server = (
            _blank(hosts[0], key.public_key())
            .add_extension(x509.SubjectAlternativeName(names), critical=False)
            .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(ca_key.public_key()), critical=False)
            .sign(ca_key, hashes.SHA256())
        )
        pem = serialization.Encoding.PEM
        self.ca.write_bytes(ca.public_bytes(pem))
        self.certificate.write_bytes(server.public_bytes(pem))
        self.key.write_bytes(
            key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()),
        )


def _blank(subject: str, key: ec.EllipticCurvePublicKey) -> x509.CertificateBuilder:
    now = dt.datetime.now(dt.UTC)

    def name(text: str) -> x509.Name:
        return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text)])

    return (
        x509.CertificateBuilder()
        .subject_name(name(subject))
        .issuer_name(name("Heron Lane test authority"))
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - dt.timedelta(hours=1))
        .not_valid_after(now + dt.timedelta(days=2))
    )


@cache
def _hashed() -> str:
    """Return the password file; hashing takes longer than all the rest of a broker's start."""
    with tempfile.NamedTemporaryFile("r") as file:
        for user, password in ((KEEPER, KEEPER_PASSWORD), (SENSOR, SENSOR_PASSWORD)):
            command = ["mosquitto_passwd", "-b", file.name, user, password]
            subprocess.run(command, check=True, capture_output=True)
        return Path(file.name).read_text()  # by name: the tool replaces the file


class Mosquitto:
    """Run one broker in its own folder; it may be stopped, killed and started again, and keeps its sessions."""

    def __init__(self, *, rights: str = RIGHTS, tls: bool = False, extra: Sequence[str] = LOSSLESS) -> None:
        """Write the broker's files; `extra` are further lines of mosquitto.conf."""
        self._folder = tempfile.TemporaryDirectory(prefix="broker-")
        folder = self.folder = Path(self._folder.name)
        self.port, self.tls_port = free_port(), free_port()
        self.process: subprocess.Popen[bytes] | None = None
        (folder / "passwords").touch(mode=0o600)
        (folder / "passwords").write_text(_hashed())
        self.set_rights(rights)
        lines = [f"listener {self.port} 127.0.0.1"]
        if tls:
            papers = self.papers = Authority(folder)
            lines += [
                f"listener {self.tls_port} 127.0.0.1",
                f"cafile {papers.ca}",
                f"certfile {papers.certificate}",
                f"keyfile {papers.key}",
            ]
        if os.geteuid() == 0:
            lines.append("user root")  # else it gives up root and cannot read its folder
        lines += [
            "allow_anonymous false",
            f"password_file {folder}/passwords",
            f"acl_file {folder}/rights",
            "persistence true",
            f"persistence_location {folder}/",
            f"log_dest file {folder}/log",
            "log_type error",
            "log_type warning",
            "log_type notice",
            *extra,
        ]
        (folder / "conf").write_text("\n".join(lines) + "\n")

    def set_rights(self, rights: str) -> None:
        """Write the file of rights; it counts from the next start on."""
        (self.folder / "rights").write_text(rights)
        (self.folder / "rights").chmod(0o600)

    def up(self) -> Self:
        """Start the broker and wait until it listens."""
        command = ["mosquitto", "-c", str(self.folder / "conf")]
        self.process = subprocess.Popen(command, stderr=subprocess.DEVNULL)
        deadline = time.monotonic() + 10
        while time.monotonic() < deadline:
            with socket.socket() as probe:
                if probe.connect_ex(("127.0.0.1", self.port)) == 0:
                    return self
            if self.process.poll() is not None:
                break
            time.sleep(0.01)
        raise RuntimeError(f"mosquitto did not start: {self.log()[-2000:]}")

    def down(self, how: signal.Signals = signal.SIGTERM) -> None:
        """Stop the broker in order, or with SIGKILL as a power cut would."""
        if self.process is not None:
            self.process.send_signal(how)
            self.process.wait(10)
            self.process = None

    def kill(self) -> None:
        """End the broker as a power cut would."""
        self.down(signal.SIGKILL)

    def log(self) -> str:
        """Return what the broker wrote into its log so far."""
        path = self.folder / "log"
        return path.read_text() if path.exists() else ""

    def settings(self, **changes: object) -> Broker:
        """Return gatewayd's settings for this broker, with `changes`."""
        wanted: dict[str, object] = {
            "id": "shed",
            "name": "Shed broker",
            "host": "127.0.0.1",
            "port": self.port,
            "user": KEEPER,
            "password": Secret(KEEPER_PASSWORD),
            "client_id": "gatewayd-heron-lane",
            "own_topic": "gatewayd/heron-lane",
        }
        return Broker(**(wanted | changes))  # type: ignore[arg-type]

    def __enter__(self) -> Self:
        """Start."""
        return self.up()

    def __exit__(self, *exc: object) -> None:
        """Stop and remove the folder."""
        self.down()
        self._folder.cleanup()
