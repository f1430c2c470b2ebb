"""A certificate made on the spot, for HTTPS inside one room. It lives in memory."""

from __future__ import annotations

import datetime
import ipaddress
import ssl
import tempfile
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

# A show lasts a weekend.
DAYS = 3


def make_certificate(addresses: tuple[str, ...]) -> tuple[ssl.SSLContext, str]:
    """Make a key and a certificate for this machine's addresses.

    Parameters
    ----------
    addresses : tuple of str
        IP addresses; "localhost" is added.

    Returns
    -------
    context : ssl.SSLContext
    fingerprint : str
        SHA-256 of the certificate, pairs of hexadecimal digits, to compare with what
        the phone shows before it is trusted.
    """
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "telltale on this machine")])
    now = datetime.datetime.now(datetime.UTC)
    names: list[x509.GeneralName] = [x509.DNSName("localhost")]
    names += [x509.IPAddress(ipaddress.ip_address(address)) for address in addresses]
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - datetime.timedelta(minutes=5))
        .not_valid_after(now + datetime.timedelta(days=DAYS))
        .add_extension(x509.SubjectAlternativeName(names), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    return _context(key, certificate), certificate.fingerprint(hashes.SHA256()).hex(":")


def _context(key: ec.EllipticCurvePrivateKey, certificate: x509.Certificate) -> ssl.SSLContext:
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    both = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    ) + certificate.public_bytes(serialization.Encoding.PEM)
    # The standard library reads keys from files only: a private one, for an instant.
    with tempfile.TemporaryDirectory(prefix="telltale-") as folder:
        path = Path(folder) / "both.pem"
        path.touch(mode=0o600)
        path.write_bytes(both)
        context.load_cert_chain(path)
    return context
