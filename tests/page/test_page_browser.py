"""The page in a real browser: live, down to the octets, inert, at every width, by keyboard and for screen readers."""

import random

import pytest

from readoff.contract.cp437 import glyphs
from readoff.page.app import Look
from support import store_samples as samples
from support.page_bench import boot_records, fill, open_sample_store, running, served
from support.page_cells import CELLS, COLOURS
from support.page_checks import flaws, wait_loaded

VIEWS = [
    "/",
    "/runs",
    "/runs/1",
    "/runs/1/octets/0?reading=1",
    "/held",
    "/arrivals/19",
    "/configurations",
    "/findings",
]


# -- live ----------------------------------------------------------------------------------------------------


def test_an_arrival_is_seen_without_reloading(tmp_path, browse):
    inbox = tmp_path / "inbox"
    inbox.mkdir()
    way = ["watch", "--folder", str(inbox), "--page", "127.0.0.1:0", "--store", str(tmp_path / "bench.db")]
    with running(*way) as (_, port):
        page = browse()
        page.goto(f"http://127.0.0.1:{port}/")
        page.evaluate("window.same = true")
        assert page.locator("#lead").inner_text().endswith("0 runs kept, nothing held.")
        page.get_by_text("live", exact=True).wait_for()
        snapshot, run, _ = boot_records(0, 0, "as-found", "72.9")
        (inbox / "S1.RDO").write_bytes(snapshot)
        (inbox / "R1.RDO").write_bytes(run)
        page.locator("#latest", has_text="as-found · replay 1/2").wait_for()
        source = page.locator("#sources article[aria-label^=folder]", has_text="open")
        source.locator("dd", has_text="2").first.wait_for()
        assert page.evaluate("window.same") is True
        page.locator("#said", has_text="1 run kept").wait_for(state="attached")
        page.close()


def test_what_another_program_takes_is_seen_and_the_focus_stays(tmp_path, browse):
    path = tmp_path / "bench.db"
    with open_sample_store(path) as store:
        for octets in boot_records(0, 0, "as-found", "72.9"):
            store.take(octets, "line")
        with served(Look(path)) as server:
            page = browse()
            page.goto(server.link + "runs")
            page.get_by_text("live", exact=True).wait_for()
            page.locator("#found a", has_text="1").first.focus()
            before = page.evaluate("document.activeElement.getAttribute('href')")
            page.locator("input[name=words]").evaluate("each => { each.value = 'half typed' }")
            for octets in boot_records(0, 1, "as-found", "72.9"):
                store.take(octets, "line")
            page.locator("#lead", has_text="4 runs").wait_for()
            assert page.evaluate("document.activeElement.getAttribute('href')") == before
            assert page.locator("input[name=words]").input_value() == "half typed"


def test_a_page_whose_program_has_ended_says_so(filled, browse):
    with served(Look(filled)) as server:
        page = browse()
        page.goto(server.link)
        page.get_by_text("live", exact=True).wait_for()
    page.get_by_text("not live").wait_for()


def test_without_scripts_every_view_works(shown, browse):
    page = browse(java_script_enabled=False)
    page.goto(f"{shown}/findings")
    page.locator("h2 a").first.click()
    page.locator("a.down").first.click()
    page.locator("mark").first.wait_for()


# -- down to the octets --------------------------------------------------------------------------------------


def test_three_clicks_from_a_finding_to_its_octets(shown, browse):
    page = browse()
    page.goto(f"{shown}/findings")
    entry = page.locator("section.finding", has_text="rate of replay")
    assert "faster" in entry.locator(".verdict").inner_text()
    clicks = 0
    assert entry.locator("svg circle.boot").count() == 6
    entry.locator("h2 a").click()
    clicks += 1
    row = page.locator("tbody tr", has=page.locator("a.down")).first
    value = row.locator("[data-of=Value]").inner_text().split()[0]
    row.locator("a.down").click()
    clicks += 1
    assert clicks <= 3
    page.locator(".glyphs mark").first.wait_for()
    wait_loaded(page)
    assert "".join(page.locator(".glyphs mark").all_inner_texts()) == value
    digits = "".join(page.locator("td:nth-child(2) mark").all_inner_texts())
    assert bytes.fromhex(digits).decode("cp437") == value


def test_every_boot_and_the_interval_are_drawn(shown, browse):
    page = browse()
    page.goto(f"{shown}/findings")
    page.locator("section.finding h2 a").first.click()
    page.locator("a.down").first.wait_for()
    wait_loaded(page)
    assert page.locator("svg circle.boot").count() == 6
    assert page.locator("svg .reading").count() == 12
    for chart in page.locator("svg[role=img]").all():
        assert len(chart.get_attribute("aria-label")) > 40


# -- inert ---------------------------------------------------------------------------------------------------

HOSTILE = (
    b"<script>window.hit = 1</script>\r\n<img src=x onerror=window.hit=2> &lt;b&gt; {{ 7 * 7 }}\r\n"
    b"\x1b[31mred\x1b[2J\x1b]0;title\x07</pre></main>\r\nReplay: 1 frames in 2 ticks\r\n"
)


def test_markup_and_escape_sequences_in_captures_are_text(tmp_path, browse):
    path = tmp_path / "bench.db"
    label = "<b onclick=x>'\"&"
    with open_sample_store(path) as store:
        screens = (samples.screen(["</pre><script>window.hit = 3</script>"]),)
        start = {"label": label, "program": "</title>", "arguments": " <svg/onload=window.hit=4>"}
        store.take(samples.run_record(console=HOSTILE, start=start, screens=screens), "<i>file</i>\x1b[7m")
        store.take(b"<script>window.hit = 5</script>", "<script>window.hit = 6</script>")
    with served(Look(path)) as server:
        page = browse()
        for view in ("", "runs", "held", "configurations", "findings", "runs/1/octets/0", "runs/1"):
            page.goto(server.link + view)
            assert page.evaluate("window.hit") is None
            assert page.locator("script").count() == 1
            assert page.locator("main b[onclick], main img, main i, main svg").count() == 0
        console = page.locator("pre.printed").inner_text()
        assert "<script>window.hit = 1</script>" in console
        assert "{{ 7 * 7 }}" in console
        assert "←[31mred←[2J←]0;title</pre></main>" in console
        assert "\x1b" not in page.content()
        assert page.locator("h1").inner_text().startswith(f"Run 1: {label}")
        page.goto(server.link + "runs?words=%22%3E%3Cscript%3E")
        assert page.locator("input[name=words]").input_value() == '"><script>'


# -- screens -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rows", [25, 43, 50])
def test_a_screen_shows_its_cells_letter_for_letter(tmp_path, browse, rows):
    path = tmp_path / "bench.db"
    chance = random.Random(rows)
    codes = bytes([*range(256)] + [chance.randrange(256) for _ in range(80 * rows - 256)])
    attributes = bytes(chance.randrange(256) for _ in range(80 * rows))
    cells = bytes(octet for pair in zip(codes, attributes, strict=True) for octet in pair)
    with open_sample_store(path) as store:
        store.take(samples.run_record(screens=(samples.screen([], rows=rows) | {"cells": cells},)), "line")
    with served(Look(path)) as server:
        page = browse()
        page.goto(server.link + "runs/1")
        told = page.locator("pre.screen").evaluate(CELLS)
    assert len(told) == rows
    for number, row in enumerate(told):
        span = slice(80 * number, 80 * number + 80)
        assert "".join(cell[0] for cell in row) == glyphs(codes[span])
        width = row[-1][3] / 79
        for column, ((_, colour, ground, left), attribute) in enumerate(
            zip(row, attributes[span], strict=True)
        ):
            assert colour == "rgb({}, {}, {})".format(*COLOURS[attribute & 15])
            assert ground == "rgb({}, {}, {})".format(*COLOURS[attribute >> 4 & 7])
            assert abs(left - column * width) < 1, "the cells are not in columns"


# -- widths, paper, keyboard ---------------------------------------------------------------------------------


@pytest.mark.parametrize("width", [390, 1280])
@pytest.mark.parametrize("view", VIEWS)
def test_no_view_scrolls_sideways(shown, browse, view, width):
    page = browse(viewport={"width": width, "height": 844})
    assert page.goto(shown + view).status == 200
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_on_paper_there_is_only_the_content(shown, browse):
    page = browse()
    page.goto(f"{shown}/findings")
    page.emulate_media(media="print")
    assert not page.locator("header nav").is_visible()
    assert page.locator(".verdict").first.is_visible()
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"


def test_by_keyboard_alone_from_now_to_the_octets(shown, browse):
    page = browse()
    page.goto(shown)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the content"
    page.keyboard.press("Enter")
    page.locator("main:focus").wait_for()

    def tab_to(wanted):
        for _ in range(80):
            page.keyboard.press("Tab")
            if page.evaluate(f"document.activeElement.matches({wanted!r})"):
                seen = page.evaluate("getComputedStyle(document.activeElement).outlineStyle")
                assert seen != "none", "the focus cannot be seen"
                return
        raise AssertionError(f"the keyboard does not reach {wanted}")

    tab_to("#latest tbody a")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    tab_to("td a")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert page.locator("table.octets").is_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("view", [*VIEWS, "a finding"])
def test_every_view_is_usable_without_seeing_it_and_has_contrast(shown, browse, view, scheme, axe):
    page = browse(color_scheme=scheme)
    page.goto(shown + ("/findings" if view == "a finding" else view))
    if view == "a finding":
        page.locator("section.finding h2 a").first.click()
        page.locator("a.down").first.wait_for()
    assert flaws(page, axe) == []


def test_the_own_checks_can_fail(shown, browse):
    page = browse()
    page.goto(shown)
    page.evaluate(
        """() => { const h = document.createElement('h4'); h.textContent = 'x';
        document.querySelector('main').prepend(h);
        h.className = 'faint'; const s = new CSSStyleSheet(); s.replaceSync('.faint { color: #ddd; background: #fff }');
        document.adoptedStyleSheets = [s]; }"""
    )
    told = " ".join(flaws(page, None))
    assert "heading skips" in told
    assert "contrast 1." in told


def test_a_view_without_its_style_sheet_is_not_judged_by_its_looks(shown, browse):
    browse.expected.append("net::ERR_FAILED")
    page = browse()
    page.route("**/look/page.css", lambda route: route.abort())
    page.goto(shown)
    assert "a style sheet that did not come" in " ".join(flaws(page, None))


def test_a_long_list_has_pages_and_a_search(tmp_path, browse):
    path = tmp_path / "bench.db"
    with open_sample_store(path) as store:
        fill(store)
        records = [samples.run_record(n, 0x500 + n, start={"label": "many"}) for n in range(2, 72)]
        list(store.take_all([(octets, "line") for octets in records]))
    with served(Look(path)) as server:
        page = browse()
        page.goto(server.link + "runs")
        assert page.locator("h1").inner_text() == "82 runs"
        assert page.locator("#found tbody tr").count() == 50
        page.get_by_role("link", name="Older").click()
        page.locator("h2", has_text="51 to 82").wait_for()
        page.get_by_label("Words").fill("ZERO-ws")
        page.get_by_role("button", name="Show").click()
        page.locator("h1", has_text="6 runs that fit").wait_for()
