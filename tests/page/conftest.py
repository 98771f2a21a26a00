"""A fresh context of the browser, with nothing remembered, for each test of the page."""

import shutil
import subprocess
from urllib.parse import urlsplit

import pytest

from readoff.page.app import Look
from support.page_bench import ended_ports, fill, open_sample_store, served


@pytest.fixture
def browse(chromium):
    """Opens a page of the browser; at the end nothing may have gone wrong in any, nor asked for another address.

    What a test makes go wrong on purpose it names beforehand, as words of the browser's own: expected.append(words).
    A page still open when its server has ended asks for it in vain, and the browser complains: nothing wrong.
    """
    opened, wrong, asked, expected = [], [], [], []

    def hear(told):
        if told.type == "error" and urlsplit(told.location.get("url", "")).port not in ended_ports:
            wrong.append(told.text)

    def new(**options):
        context = chromium.new_context(**{"viewport": {"width": 1280, "height": 900}, **options})
        page = context.new_page()
        page.set_default_timeout(15000)
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on("console", hear)
        page.on("request", lambda request: asked.append(request.url))
        opened.append(context)
        return page

    new.expected = expected
    yield new
    for context in opened:
        context.close()
    assert not [told for told in wrong if not any(words in told for words in expected)]
    assert not [url for url in asked if not url.startswith("http://127.0.0.1:")]


@pytest.fixture(scope="session")
def filled(tmp_path_factory):
    """A store with two configurations, that nobody writes to any more."""
    path = tmp_path_factory.mktemp("page") / "bench.db"
    with open_sample_store(path) as store:
        fill(store)
    return path


@pytest.fixture
def shown(filled):
    """The page over that store: its address."""
    with served(Look(filled)) as server:
        yield f"http://127.0.0.1:{server.port}"


@pytest.fixture(scope="session")
def axe(tmp_path_factory):
    """The script of axe-core, fetched with npm; None where it cannot be had within half a minute."""
    if not shutil.which("npm"):
        return None
    folder = tmp_path_factory.mktemp("axe")
    command = ["npm", "install", "--no-audit", "--no-fund", "--ignore-scripts", "axe-core@4"]
    try:
        subprocess.run(command, cwd=folder, check=True, capture_output=True, timeout=30)
    except (subprocess.SubprocessError, OSError):
        return None
    return (folder / "node_modules/axe-core/axe.min.js").read_text(encoding="utf-8")
