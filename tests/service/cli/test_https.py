"""https by a certificate, and behind a proxy: whose word is taken for where a request came from."""

import ssl
import subprocess
import sys
from datetime import timedelta
from ipaddress import ip_address

import httpx
import pytest
from click.testing import CliRunner
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec

from service.api.app import make_app
from service.cli import foldmark
from service.ledger.opening import create_at
from service.pages.routes import add_pages
from service.stations.writer import utc_now
from tests.entry import PIN, Entry
from tests.faults.load import ROOT
from tests.practice import NURSE
from tests.served import served

SOMEWHERE, SPOOFED, PROXY = "203.0.113.9", "198.51.100.7", "127.0.0.1"


@pytest.fixture
def certificate(tmp_path):
    """A certificate for 127.0.0.1 signed by itself, and its key: two PEM files."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "foldmark.practice.example")])
    now = utc_now()
    made = (
        x509.CertificateBuilder().subject_name(name).issuer_name(name).public_key(key.public_key())
        .serial_number(x509.random_serial_number()).not_valid_before(now - timedelta(days=1)).not_valid_after(now + timedelta(days=2))
        .add_extension(x509.SubjectAlternativeName([x509.IPAddress(ip_address(PROXY))]), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )  # fmt: skip
    cert_file, key_file = tmp_path / "foldmark.pem", tmp_path / "foldmark.key"
    cert_file.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    key_file.write_bytes(key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()))  # fmt: skip
    return cert_file, key_file


def serve(ledger, *options):
    words = ["--ledger", str(ledger), "serve", "--port", "0", *map(str, options)]
    return subprocess.Popen(
        [sys.executable, "-m", "service.cli", *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    )


def test_the_service_brings_https_with_a_certificate_and_its_cookies_stay_on_it(tmp_path, certificate):
    ledger = tmp_path / "practice.db"
    create_at(str(ledger))
    cert, key = certificate
    process = serve(ledger, "--tls-cert", cert, "--tls-key", key)
    try:
        line = process.stdout.readline()
        url = line.split(" at ")[1].split()[0]
        assert url.startswith("https://127.0.0.1:")
        link = process.stdout.readline()
        assert f"{url}/start#" in link
        with httpx.Client(base_url=url, verify=ssl.create_default_context(cafile=str(cert)), timeout=30) as client:
            assert client.get("/health").json()["status"] == "ok"
            badge = client.post("/api/pin", json={"code": link.strip().split("#")[1], "pin": PIN}).json()["badge"]
            answer = client.post("/api/session", json={"badge": badge, "pin": PIN})
            cookie = answer.headers["set-cookie"].lower()
            assert "; secure" in cookie
            assert "httponly" in cookie
            assert client.get("/").status_code == 200
        with pytest.raises(httpx.ConnectError):
            httpx.get(url + "/health", timeout=30)
        with pytest.raises(httpx.HTTPError):
            httpx.get(url.replace("https", "http") + "/health", timeout=30)
    finally:
        process.terminate()
        process.wait(30)


def test_a_certificate_that_cannot_be_used_is_said_in_one_line(tmp_path, certificate):
    ledger = tmp_path / "practice.db"
    create_at(str(ledger))
    cert, key = certificate
    for options, words in (
        (("--tls-cert", cert), "goes with its key"), (("--tls-key", key), "goes with its key"),
        (("--tls-cert", cert, "--tls-key", cert), "cannot be used"), (("--tls-cert", tmp_path / "no.pem", "--tls-key", key), "cannot be used"),
    ):  # fmt: skip
        found = CliRunner().invoke(foldmark, ["--ledger", str(ledger), "serve", "--port", "0", *map(str, options)])
        assert found.exit_code == 2
        (line,) = found.output.strip().splitlines()
        assert words in line


def signed_in(entry, desk, trusted, forwarded):
    """The cookie of somebody who signed in through a proxy at 127.0.0.1, and the address that was noted."""
    headers = {"X-Forwarded-For": forwarded, "X-Forwarded-Proto": "https"}
    app = make_app(desk, add_pages, None, entry.doors)
    with served(app, proxy_headers=bool(trusted), forwarded_allow_ips=trusted) as address:
        url = "http://{}:{}/api/session".format(*address)
        answer = httpx.post(url, json={"badge": NURSE, "pin": PIN}, headers=headers, timeout=30)
        assert answer.status_code == 200
        noted = entry.doors.sign_ins()[0]["address"]
    return answer.headers["set-cookie"].lower(), noted


@pytest.mark.parametrize(
    ("trusted", "forwarded", "noted", "secure"),
    [
        ([], SOMEWHERE, PROXY, False),
        (["10.0.0.0/24"], SOMEWHERE, PROXY, False),
        ([PROXY], SOMEWHERE, SOMEWHERE, True),
        (["127.0.0.0/8"], SOMEWHERE, SOMEWHERE, True),
        ([PROXY], f"{SPOOFED}, {SOMEWHERE}", SOMEWHERE, True),
    ],
    ids=["nobody", "another", "the-proxy", "its-network", "spoofed"],
)
def test_only_a_trusted_proxy_is_believed_where_a_request_came_from(bridge, trusted, forwarded, noted, secure):
    """A client may write into X-Forwarded-For what it likes: what its proxy added comes last (RFC 7239 8.1)."""
    entry = Entry(bridge.desk)
    entry.person(NURSE)
    bridge.wait(1)
    cookie, found = signed_in(entry, bridge.desk, trusted, forwarded)
    assert found == noted
    assert ("; secure" in cookie) is secure
