"""A phone that has taken the device's certificate in: as Chromium on Linux keeps it, and as a client of ours."""

from __future__ import annotations

import os
import ssl
import subprocess
from pathlib import Path

from selenium import webdriver
from selenium.webdriver.chrome.service import Service

from handsfree.glance.authority import Authority, own_names

CHROMIUM, DRIVER = "/usr/bin/chromium", "/usr/bin/chromedriver"


def trusting() -> ssl.SSLContext:
    """Trusts the device's authority and nothing else."""
    return ssl.create_default_context(cadata=Authority.of_device(()).file)


def trust(home: Path, certificate: bytes) -> None:
    """Put a certificate authority into the store of a user's home."""
    store = home / ".pki" / "nssdb"
    store.mkdir(parents=True)
    (home / "authority.crt").write_bytes(certificate)
    for command in (
        ["-N", "--empty-password"],
        ["-A", "-n", "tool", "-t", "C,,", "-i", str(home / "authority.crt")],
    ):
        subprocess.run(["certutil", "-d", f"sql:{store}", *command], check=True, capture_output=True)


def telephone(home: Path, *arguments: str) -> webdriver.Chrome:
    """Return a telephone's browser, 390 by 844, that has taken the certificate in; no error of one is ignored."""
    trust(home, Authority.of_device(own_names("127.0.0.1")).file)
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    options.accept_insecure_certs = False
    for argument in ("--headless=new", "--no-sandbox", "--disable-dev-shm-usage", "--hide-scrollbars", *arguments):
        options.add_argument(argument)
    metrics = {"width": 390, "height": 844, "pixelRatio": 2}
    options.add_experimental_option("mobileEmulation", {"deviceMetrics": metrics})
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    return webdriver.Chrome(options=options, service=Service(DRIVER, env={**os.environ, "HOME": str(home)}))
