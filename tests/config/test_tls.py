"""TLS on a farm's network: the authority, what it may sign for, and a server that speaks it."""

from __future__ import annotations

import http.client
import ipaddress
import ssl
import stat
import subprocess
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import time_machine
from cryptography import x509
from cryptography.hazmat.primitives import serialization
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

from config import tls
from config.door import serve
from tests.config.service import Service, free_port

NAME = "barn.lan"


def verified(secured: tls.Secured, host: str) -> list[x509.Certificate]:
    """What a general library makes of the chain (path validation of RFC 5280, as browsers do)."""
    assert secured.authority is not None
    subject: x509.verification.Subject
    try:
        subject = x509.IPAddress(ipaddress.ip_address(host))
    except ValueError:
        subject = x509.DNSName(host)
    store = Store([tls.read_certificate(secured.authority)])
    verifier = PolicyBuilder().store(store).build_server_verifier(subject)
    return verifier.verify(tls.read_certificate(secured.certificate), [])


@pytest.mark.parametrize("host", [NAME, "localhost", "127.0.0.1"])
def test_certificate_is_good_for_its_name_and_this_machine(tmp_path: Path, host: str) -> None:
    assert len(verified(tls.farm_certificate(tmp_path, NAME), host)) == 2


def test_address_of_a_farm_network_may_stand_for_a_name(tmp_path: Path) -> None:
    assert verified(tls.farm_certificate(tmp_path, "192.168.7.20"), "192.168.7.20")


def test_certificate_is_good_for_no_other_name(tmp_path: Path) -> None:
    secured = tls.farm_certificate(tmp_path, NAME)

    with pytest.raises(VerificationError):
        verified(secured, "elsewhere.example")


@pytest.mark.parametrize("host", ["bank.example", "93.184.215.14"])
def test_authority_signs_for_nothing_outside_the_farm(tmp_path: Path, host: str) -> None:
    """A stolen key of the authority is of no use elsewhere (RFC 5280, section 4.2.1.10).

    `openssl verify` says so too: "permitted subtree violation".
    """
    secured = tls.farm_certificate(tmp_path, NAME)
    assert secured.authority is not None
    pem = (tmp_path / "authority.key").read_bytes()
    signer = serialization.load_pem_private_key(pem, None)
    authority = tls.read_certificate(secured.authority)
    stolen = tls.Secured(host, tmp_path / "x.crt", tmp_path / "x.key", secured.authority)
    key = tls.new_key(stolen.key)
    tls.write(stolen.certificate, tls.new_certificate(key, signer, authority, host))  # type: ignore[arg-type]

    with pytest.raises(VerificationError):
        verified(stolen, host)
    command = ["openssl", "verify", "-CAfile", str(stolen.authority), str(stolen.certificate)]
    judged = subprocess.run(command, check=False, capture_output=True, text=True)
    assert "permitted subtree violation" in judged.stdout + judged.stderr
    with pytest.raises(tls.CertificateError, match="made for other names"):
        tls.farm_certificate(tmp_path, host)


def test_authority_is_kept_and_its_certificate_renewed_in_time(tmp_path: Path) -> None:
    first = tls.farm_certificate(tmp_path, NAME)
    kept = (first.certificate.read_bytes(), first.fingerprint)

    again = tls.farm_certificate(tmp_path, NAME)
    assert (again.certificate.read_bytes(), again.fingerprint) == kept
    with time_machine.travel(datetime.now(UTC) + timedelta(days=397 - 119)):
        later = tls.farm_certificate(tmp_path, NAME)
    assert later.certificate.read_bytes() != kept[0]
    assert later.fingerprint == kept[1]


def test_lives_as_long_as_phones_allow(tmp_path: Path) -> None:
    """825 days at most for a certificate of an own authority: common practice, no source."""
    found = tls.read_certificate(tls.farm_certificate(tmp_path, NAME).certificate)

    assert found.not_valid_after_utc - found.not_valid_before_utc <= timedelta(days=825)


def test_another_name_of_the_farm_gets_a_certificate_of_the_same_authority(tmp_path: Path) -> None:
    first = tls.farm_certificate(tmp_path, NAME)
    second = tls.farm_certificate(tmp_path, "10.20.0.5")

    assert verified(second, "10.20.0.5")
    assert second.fingerprint == first.fingerprint


def test_keys_are_readable_by_their_owner_alone(tmp_path: Path) -> None:
    tls.farm_certificate(tmp_path / "tls", NAME)

    modes = [stat.S_IMODE(f.stat().st_mode) for f in (tmp_path / "tls").glob("*.key")]
    assert modes == [0o600, 0o600]
    assert stat.S_IMODE((tmp_path / "tls").stat().st_mode) == 0o700


def test_own_certificate_is_taken_as_it_is(tmp_path: Path) -> None:
    made = tls.farm_certificate(tmp_path, NAME)

    taken = tls.own_certificate(NAME, made.certificate, made.key)
    assert (taken.authority, taken.fingerprint) == (None, "")


def test_own_certificate_that_does_not_fit_is_refused_by_what_is_wrong(tmp_path: Path) -> None:
    one = tls.farm_certificate(tmp_path / "one", NAME)
    other = tls.farm_certificate(tmp_path / "other", NAME)

    with pytest.raises(tls.CertificateError, match=f"is for {NAME}, .* not for well.lan"):
        tls.own_certificate("well.lan", one.certificate, one.key)
    with pytest.raises(tls.CertificateError, match=r"KEY_VALUES_MISMATCH|key values mismatch"):
        tls.own_certificate(NAME, one.certificate, other.key)
    with pytest.raises(tls.CertificateError, match="No such file"):
        tls.own_certificate(NAME, tmp_path / "none.crt", one.key)
    with (
        time_machine.travel(datetime.now(UTC) + timedelta(days=400)),
        pytest.raises(tls.CertificateError, match="ended on"),
    ):
        tls.own_certificate(NAME, one.certificate, one.key)


# The door ---------------------------------------------------------------------------------------


def asked(
    secured: tls.Secured, path: str, method: str = "GET"
) -> tuple[str, dict[str, str], bytes]:
    assert secured.authority is not None
    heard: list[tuple[str, dict[str, str]]] = []
    application = serve(secured.authority, "https://barn.lan:8000")
    environ = {"PATH_INFO": path, "REQUEST_METHOD": method}
    body = b"".join(application(environ, lambda s, h: heard.append((s, dict(h)))))
    return *heard[0], body


def test_door_shows_the_fingerprint_and_where_to_go_in_both_languages(tmp_path: Path) -> None:
    secured = tls.farm_certificate(tmp_path, NAME)
    status, _headers, body = asked(secured, "/")

    page = body.decode()
    assert status == "200 OK"
    assert page.count(f"<code>{secured.fingerprint}</code>") == 2
    assert page.count('href="https://barn.lan:8000/phone/"') == 2
    assert 'lang="es"' in page


def test_door_gives_the_authority_and_no_key(tmp_path: Path) -> None:
    secured = tls.farm_certificate(tmp_path, NAME)
    assert secured.authority is not None
    status, headers, body = asked(secured, "/farm-authority.crt")

    assert (status, headers["Content-Type"]) == ("200 OK", "application/x-x509-ca-cert")
    assert body == secured.authority.read_bytes()
    assert b"PRIVATE" not in body


@pytest.mark.parametrize(
    ("path", "method"), [("/authority.key", "GET"), ("/../tls/site.key", "GET"), ("/", "POST")]
)
def test_door_leads_back_from_all_else(tmp_path: Path, path: str, method: str) -> None:
    status, headers, body = asked(tls.farm_certificate(tmp_path, NAME), path, method)

    assert (status, headers["Location"], body) == ("302 Found", "/", b"")


# The service ------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def service() -> Iterator[Service]:
    service = Service("--tls", "localhost", "--door-port", str(free_port()))
    try:
        service.wait_until_ready()
        yield service
    finally:
        service.end()


def get(port: int, path: str, context: ssl.SSLContext | None) -> tuple[int, str, str]:
    """Give status, cookie and body; without a context, over plain HTTP."""
    connection = http.client.HTTPConnection("localhost", port, timeout=10)
    if context:
        connection = http.client.HTTPSConnection("localhost", port, timeout=10, context=context)
    with closing(connection):
        connection.request("GET", path)
        with connection.getresponse() as answer:
            cookie = answer.getheader("Set-Cookie") or ""
            return answer.status, cookie, answer.read().decode()


def test_up_speaks_tls_to_whom_trusts_the_farms_authority(service: Service) -> None:
    trusting = ssl.create_default_context(cafile=str(service.folder.root / "tls/authority.crt"))

    status, cookie, _body = get(service.port, "/sign-in/", trusting)
    assert status == 200
    assert "Secure" in cookie
    with pytest.raises(ssl.SSLCertVerificationError):
        get(service.port, "/sign-in/", ssl.create_default_context())


def test_up_names_the_address_the_door_and_the_fingerprint(service: Service) -> None:
    authority = service.folder.root / "tls/authority.crt"
    fingerprint = tls.Secured("", authority, authority, authority).fingerprint

    assert f"https://localhost:{service.port}" in service.log()
    assert fingerprint in service.log()
    door = int(service.options[-1])
    assert service.children()["door"]
    assert fingerprint in get(door, "/", None)[2]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--certificate", "a.crt"), "--certificate and --key go together"),
        (("--certificate", "a.crt", "--key", "a.key"), "--certificate goes with --tls NAME"),
        (
            ("--tls", "barn.lan", "--certificate", "/no/a.crt", "--key", "/no/a.key"),
            "No such file",
        ),
    ],
)
def test_what_does_not_go_together_is_said_before_anything_starts(
    service: Service, tmp_path: Path, options: tuple[str, ...], words: str
) -> None:
    tmp_path.chmod(0o711)
    command = [*service.command()[:3], "--data", str(tmp_path / "data"), *options]
    ended = subprocess.run(
        command, check=False, env=service.environment(), capture_output=True, text=True, timeout=60
    )

    assert ended.returncode != 0
    assert words in ended.stderr
    assert not (tmp_path / "data" / "postgres").exists()
