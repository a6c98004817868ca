"""Certificates for a farm's own network: an authority of the farm's own, or the farm's certificate.

Phones keep and send work only where the page came by TLS, and no public authority signs for an
address inside a farm. So `up --tls NAME` makes an authority once and has it sign for that name.
The authority is bound to farm-network names and private addresses (RFC 5280, section 4.2.1.10):
a phone that trusts it trusts it for nothing else.
"""

from __future__ import annotations

import ipaddress
import os
import ssl
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

AUTHORITY_LIFE = timedelta(days=3650)
CERTIFICATE_LIFE = timedelta(days=397)  # phones refuse longer ones
RENEW_BEFORE_END = timedelta(days=120)
FARM_SUFFIXES = ("localhost", "lan", "local", "internal", "home.arpa")  # RFC 6761, 6762, 8375
PRIVATE = (
    *("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "127.0.0.0/8", "169.254.0.0/16"),
    *("fc00::/7", "fe80::/10", "::1/128"),
)


class CertificateError(Exception):
    """A certificate that cannot be used, and what to do about it."""


@dataclass(frozen=True, slots=True)
class Secured:
    """What the web server speaks TLS with; `authority` is the farm's own, if it has one."""

    name: str
    certificate: Path
    key: Path
    authority: Path | None = None

    @property
    def fingerprint(self) -> str:
        """SHA-256 of the authority's certificate, to compare by eye; "" without one."""
        if self.authority is None:
            return ""
        digest = read_certificate(self.authority).fingerprint(hashes.SHA256())
        return " ".join(digest[i : i + 4].hex(":").upper() for i in range(0, len(digest), 4))

    def trusting(self) -> ssl.SSLContext:
        """Give a client's context that takes this server's certificate and no other."""
        context = ssl.create_default_context(cafile=str(self.authority or self.certificate))
        context.verify_flags |= ssl.VERIFY_X509_PARTIAL_CHAIN
        context.check_hostname = False
        return context


def own_certificate(name: str, certificate: Path, key: Path) -> Secured:
    """Take the farm's own certificate; raise CertificateError where it does not fit."""
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(certificate, key)
    except (OSError, ssl.SSLError) as fault:
        raise CertificateError(f"{certificate} with {key}: {fault}") from fault
    found = read_certificate(certificate)
    if found.not_valid_after_utc < datetime.now(UTC):
        raise CertificateError(f"{certificate} ended on {found.not_valid_after_utc:%a %d %b %Y}.")
    if not {name, f"*.{name.partition('.')[2]}"} & set(names_of(found)):
        known = ", ".join(names_of(found)) or "nothing"
        raise CertificateError(f"{certificate} is for {known}, not for {name}.")
    return Secured(name, certificate, key)


def farm_certificate(folder: Path, name: str) -> Secured:
    """Make, or keep, an authority and its certificate for `name` in `folder`."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    secured = Secured(name, folder / "site.crt", folder / "site.key", folder / "authority.crt")
    authority_key = folder / "authority.key"
    assert secured.authority is not None
    if not secured.authority.exists():
        key = new_key(authority_key)
        write(secured.authority, new_authority(key, name))
    authority = read_certificate(secured.authority)
    if not may_sign(authority, name):
        raise CertificateError(
            f"The authority in {folder} was made for other names. Serve one of those, or move the "
            "folder away: a new authority is made, and every phone has to take it on again."
        )
    if not is_good(secured.certificate, secured.key, authority, name):
        signer = serialization.load_pem_private_key(authority_key.read_bytes(), None)
        assert isinstance(signer, ec.EllipticCurvePrivateKey)
        write(secured.certificate, new_certificate(new_key(secured.key), signer, authority, name))
    return secured


def is_good(file: Path, key: Path, authority: x509.Certificate, name: str) -> bool:
    """Whether the certificate is there, for that name, by that authority and not near its end."""
    if not file.exists() or not key.exists():
        return False
    found = read_certificate(file)
    lasts = found.not_valid_after_utc - datetime.now(UTC) > RENEW_BEFORE_END
    return lasts and name in names_of(found) and found.issuer == authority.subject


def new_key(file: Path) -> ec.EllipticCurvePrivateKey:
    """Make a key on P-256, readable by its owner alone."""
    key = ec.generate_private_key(ec.SECP256R1())
    file.unlink(missing_ok=True)
    plain = serialization.NoEncryption()
    form = serialization.PrivateFormat.PKCS8
    with os.fdopen(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:
        out.write(key.private_bytes(serialization.Encoding.PEM, form, plain))
    return key


def new_authority(key: ec.EllipticCurvePrivateKey, name: str) -> x509.Certificate:
    """Make the farm's authority, which may sign for farm names and private addresses alone."""
    called = x509.Name(
        [x509.NameAttribute(NameOID.COMMON_NAME, f"Penround authority of {name}"[:64])]
    )
    now = datetime.now(UTC)
    identifier = x509.SubjectKeyIdentifier.from_public_key(key.public_key())
    return (
        beginning(called, called, key, now, now + AUTHORITY_LIFE)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(usage(signs=True), critical=True)
        .add_extension(x509.NameConstraints(permitted(name), None), critical=True)
        .add_extension(identifier, critical=False)
        .sign(key, hashes.SHA256())
    )


def new_certificate(
    key: ec.EllipticCurvePrivateKey,
    signer: ec.EllipticCurvePrivateKey,
    authority: x509.Certificate,
    name: str,
) -> x509.Certificate:
    """Sign for `name`, and for this machine itself."""
    called = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name[:64])])
    now = datetime.now(UTC)
    end = min(now + CERTIFICATE_LIFE, authority.not_valid_after_utc)
    names = dict.fromkeys([name, "localhost", "127.0.0.1"])
    issuer_key = x509.AuthorityKeyIdentifier.from_issuer_public_key(signer.public_key())
    return (
        beginning(called, authority.subject, key, now, end)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage(signs=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName([general(n) for n in names]), critical=False)
        .add_extension(issuer_key, critical=False)
        .sign(signer, hashes.SHA256())
    )


def beginning(
    subject: x509.Name,
    issuer: x509.Name,
    key: ec.EllipticCurvePrivateKey,
    now: datetime,
    end: datetime,
) -> x509.CertificateBuilder:
    """Begin a certificate; valid since yesterday, since phones' clocks differ."""
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(end - timedelta(days=1))
    )


def usage(*, signs: bool) -> x509.KeyUsage:
    """What a key is for: signing certificates, or shaking hands."""
    return x509.KeyUsage(
        digital_signature=not signs,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=signs,
        crl_sign=signs,
        encipher_only=False,
        decipher_only=False,
    )


def permitted(name: str) -> list[x509.GeneralName]:
    """What the authority may sign for: farm-network names, private addresses, and `name`."""
    names: list[x509.GeneralName] = [x509.DNSName(suffix) for suffix in FARM_SUFFIXES]
    names += [x509.IPAddress(ipaddress.ip_network(net)) for net in PRIVATE]
    own = general(name)
    if isinstance(own, x509.DNSName) and not is_below(name, FARM_SUFFIXES):
        names.append(own)
    return names


def general(name: str) -> x509.GeneralName:
    """Write a host's name or address as certificates do."""
    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def may_sign(authority: x509.Certificate, name: str) -> bool:
    """Whether the name lies within what the authority is bound to."""
    bounds = authority.extensions.get_extension_for_class(x509.NameConstraints).value
    subtrees = bounds.permitted_subtrees or []
    own = general(name)
    if isinstance(own, x509.IPAddress):
        nets = [str(tree.value) for tree in subtrees if isinstance(tree, x509.IPAddress)]
        return any(ipaddress.ip_address(name) in ipaddress.ip_network(net) for net in nets)
    return is_below(name, tuple(t.value for t in subtrees if isinstance(t, x509.DNSName)))


def is_below(name: str, suffixes: tuple[str, ...]) -> bool:
    """Whether a host's name is one of these or lies below one."""
    return any(name == suffix or name.endswith(f".{suffix}") for suffix in suffixes)


def names_of(certificate: x509.Certificate) -> list[str]:
    """Hosts that a certificate is for."""
    try:
        found = certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except x509.ExtensionNotFound:
        return []
    addresses = found.get_values_for_type(x509.IPAddress)
    return [*found.get_values_for_type(x509.DNSName), *map(str, addresses)]


def read_certificate(file: Path) -> x509.Certificate:
    """Read a certificate (PEM); raise CertificateError where it is none."""
    try:
        return x509.load_pem_x509_certificate(file.read_bytes())
    except (OSError, ValueError) as fault:
        raise CertificateError(f"{file}: {fault}") from fault


def write(file: Path, certificate: x509.Certificate) -> None:
    """Replace the file in one step."""
    part = file.with_suffix(".part")
    part.write_bytes(certificate.public_bytes(serialization.Encoding.PEM))
    part.replace(file)
