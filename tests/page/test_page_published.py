"""The published page in a real browser: opened from a file with the network cut, it is whole and asks for nothing."""

import pytest

from readoff.reports import writing
from support import study_records as records
from support.page_checks import flaws
from support.photographs import photograph
from support.study_bench import bring, prepare, run


@pytest.fixture(scope="module")
def report(tmp_path_factory):
    """A report with a photograph, of labels that would be markup if they were let."""
    with pytest.MonkeyPatch.context() as patch:
        bench = prepare(tmp_path_factory.mktemp("published"), patch)
        label = "<img src=x onerror=alert(1)>"
        order = [(label, ["72.9", "73.0"]), ("b", ["76.1", "76.2"])] * 3
        bring(bench, records.boots(order))
        (bench / "p.jpg").write_bytes(photograph())
        run("attach", "--label", "b", "--photo", "p.jpg", "--by", "me", "J7 open")
        run("report", "out", label, "b")
        assert writing.PAGE == "report.html"
    return bench / "out" / "report.html"


@pytest.fixture
def opened(chromium, report):
    """Opens the page without a network, at a size. Nothing may go wrong in it, nor leave it."""
    contexts, wrong, asked = [], [], []

    def show(**options):
        context = chromium.new_context(offline=True, **options)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on("console", lambda told: wrong.append(told.text))
        page.on("dialog", lambda dialog: wrong.append(dialog.message))
        page.on("request", lambda request: asked.append(request.url))
        page.goto(report.as_uri())
        return page

    yield show
    for context in contexts:
        context.close()
    assert not wrong
    assert not [url for url in asked if not url.startswith(("file:", "data:image/"))]
    assert len([url for url in asked if url.startswith("file:")]) == len(contexts)


@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_opens_whole_with_the_network_cut(opened, width, scheme):
    page = opened(viewport={"width": width, "height": 900}, color_scheme=scheme)
    assert page.locator("h1").inner_text().startswith("b against")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    charts = page.locator("figure svg[role=img]")
    assert charts.count() == 2
    for at in range(charts.count()):
        box = charts.nth(at).bounding_box()
        assert box["width"] > 250 and abs(box["width"] / box["height"] - 16 / 9) < 0.1
        assert charts.nth(at).get_attribute("aria-label")
        assert charts.nth(at).locator("text").count() > 8


def test_the_photograph_is_in_it(opened):
    page = opened()
    image = page.locator("figure img")
    assert image.evaluate("each => each.naturalWidth") == 640
    assert image.get_attribute("alt") == "J7 open"
    assert page.locator("img").count() == 1  # the label made none


def test_every_id_is_there_once(opened):
    ids = opened().evaluate("[...document.querySelectorAll('[id]')].map(each => each.id)")
    assert len([each for each in ids if each.endswith("-figure_1")]) == 2
    assert len(ids) == len(set(ids))


def test_it_prints(opened):
    page = opened()
    hidden = """() => [...document.querySelectorAll('details td')].filter(
      each => !each.checkVisibility({contentVisibilityAuto: true})).length"""
    assert page.evaluate(hidden) > 50
    page.emulate_media(media="print")
    page.wait_for_function(
        f"{hidden} === 0"
    )  # what is folded away on a screen is on paper, from the next frame on
    assert page.pdf(format="A4")[:5] == b"%PDF-"


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_people_who_do_not_see_it_can_use_it(opened, axe, scheme):
    page = opened(color_scheme=scheme)
    page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
    assert flaws(page, axe) == []
