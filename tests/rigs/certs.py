"""Make a throw-away authority and server certificates for the rigs."""

import datetime
import ipaddress
from dataclasses import dataclass
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

DAY = datetime.timedelta(days=1)


@dataclass(frozen=True)
class Certs:
    """Name the files: the authority to trust, one that signed nothing here, and three servers' chain and key files."""

    ca: Path
    stranger: Path
    good: Path
    expired: Path
    other_name: Path


def make(folder: Path) -> Certs:
    """Write everything into `folder`. A server's file holds its key and its certificate."""
    key = ec.generate_private_key(ec.SECP256R1())
    authority = _authority("rig authority", key)
    strange_key = ec.generate_private_key(ec.SECP256R1())
    now = datetime.datetime.now(datetime.UTC)
    files = Certs(*(folder / f"{name}.pem" for name in ("ca", "stranger", "good", "expired", "other")))
    files.ca.write_bytes(authority.public_bytes(serialization.Encoding.PEM))
    files.stranger.write_bytes(_authority("stranger", strange_key).public_bytes(serialization.Encoding.PEM))
    files.good.write_bytes(_server(authority, key, "localhost", now - DAY, now + DAY))
    files.expired.write_bytes(_server(authority, key, "localhost", now - 3 * DAY, now - DAY))
    files.other_name.write_bytes(_server(authority, key, "elsewhere.test", now - DAY, now + DAY))
    return files


def _authority(name: str, key: ec.EllipticCurvePrivateKey) -> x509.Certificate:
    now = datetime.datetime.now(datetime.UTC)
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    usage = x509.KeyUsage(
        digital_signature=True, key_cert_sign=True, crl_sign=True, content_commitment=False, key_encipherment=False,
        data_encipherment=False, key_agreement=False, encipher_only=False, decipher_only=False,
    )  # fmt: skip
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - 10 * DAY)
        .not_valid_after(now + 10 * DAY)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )


def _server(
    authority: x509.Certificate,
    authority_key: ec.EllipticCurvePrivateKey,
    name: str,
    start: datetime.datetime,
    end: datetime.datetime,
) -> bytes:
    key = ec.generate_private_key(ec.SECP256R1())
    names: list[x509.GeneralName] = [x509.DNSName(name)]
    if name == "localhost":
        names.append(x509.IPAddress(ipaddress.ip_address("127.0.0.1")))
    cert = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)]))
        .issuer_name(authority.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(start)
        .not_valid_after(end)
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(authority_key.public_key()), critical=False)
        .sign(authority_key, hashes.SHA256())
    )
    private = key.private_bytes(
        serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    )
    return private + cert.public_bytes(serialization.Encoding.PEM)
