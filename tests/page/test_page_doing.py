"""What a person does at the page, in a real browser: types, attaches, reports; with scripts and without."""

import pytest

from readoff.store import find, open_store
from readoff.store.attachments import Entry, attach, attachments
from readoff.store.notes import notes
from readoff.store.photographs import clean
from readoff.store.typed import typed
from support import store_samples as samples
from support import study_records as records
from support.page_bench import running, served
from support.page_checks import flaws, wait_loaded
from support.page_views import NOW, STUDY, VIEWS, board, fill, look, schemas
from support.photographs import photograph

NOT_KEPT = "status of 422"
"""The browser's word for a form that was not kept."""


@pytest.fixture
def bench(tmp_path):
    """The address of a page over a bench with something of everything."""
    path = tmp_path / "bench.db"
    hold = fill(path)
    with served(look(path)) as server:
        server.hold, server.path = hold, path
        yield server


def stored(server, ask):
    with open_store(server.path) as store:
        return ask(store)


@pytest.mark.parametrize("scripts", [True, False])
def test_a_number_is_typed_twice_beside_its_line_with_a_mismatch_first(bench, browse, scripts):
    browse.expected.append(NOT_KEPT)
    page = browse(java_script_enabled=scripts)
    page.goto(bench.link + "held")
    page.get_by_role("link", name="Type rate as you see it").click()
    assert page.locator("mark[data-reading=held]").inner_text() == "7,,2"
    wait_loaded(page)
    captured, form = page.locator("pre.printed").bounding_box(), page.locator("form.twice").bounding_box()
    assert captured["x"] + captured["width"] <= form["x"] + 1  # beside it, not below
    page.get_by_label("The number").fill("76.2")
    page.get_by_label("The same once more").fill("72.6")
    page.get_by_label("Who types it").fill("A. Tester")
    page.get_by_role("button", name="Keep it").click()
    page.get_by_role("alert").get_by_text("The two do not agree").wait_for()
    assert page.get_by_label("The number").input_value() == ""
    assert stored(bench, typed) == []
    page.get_by_label("The number").fill("762")
    page.get_by_label("The same once more").fill("762")
    page.get_by_role("button", name="Keep it").click()
    page.get_by_role("alert").get_by_text("a lost decimal point").wait_for()
    assert stored(bench, typed) == []
    page.get_by_label("The number").fill("76.2")
    page.get_by_label("The same once more").fill("76.2")
    page.get_by_role("button", name="Keep it").click()
    page.locator("#typed", has_text="rate: 76.2 frames/s").wait_for()
    assert "A. Tester" in page.locator("#typed").inner_text()
    (row,) = stored(bench, typed)
    assert (row.value, row.person, row.metric) == ("76.2", "A. Tester", "rate")


def test_the_keyboard_alone_types_a_number(bench, browse):
    page = browse()
    page.goto(f"{bench.link}held/{bench.hold}")
    page.locator("input[name=first]:focus").wait_for()
    for keys in ("76.2", "76.2", None, None, "A. Tester"):
        if keys:
            page.keyboard.type(keys)
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    page.locator("#typed").wait_for()
    assert len(stored(bench, typed)) == 1


def test_a_telephone_attaches_and_the_tablet_sees_it(bench, browse, tmp_path):
    (tmp_path / "taken.jpg").write_bytes(photograph(size=(1600, 1200)))
    tablet = browse(viewport={"width": 820, "height": 1180})
    tablet.goto(bench.link + "configurations")
    tablet.get_by_text("live", exact=True).wait_for()
    phone = browse(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    phone.goto(bench.link + "configurations")
    form = phone.locator("form.keep")
    form.get_by_label("Configuration").select_option("as-found")
    form.get_by_label("Note").fill("<b>J7</b> open\nJ8 open")
    form.get_by_label("Photograph").set_input_files(str(tmp_path / "taken.jpg"))
    form.get_by_label("Who").fill("B. Tester")
    form.get_by_role("button", name="Attach").tap()
    phone.wait_for_url("**/configurations#attached")
    figure = tablet.locator("#attached figure", has_text="<b>J7</b>")
    figure.wait_for()
    assert figure.locator("b", has_text="J7").count() == 0
    assert "<b>J7</b> open\nJ8 open" in figure.inner_text()
    shown = "each => new Promise(done => { each.loading = 'eager'; each.decode().then(() => done(each.naturalWidth)) })"
    assert figure.locator("img").evaluate(shown) == 1600
    last = stored(bench, attachments)[-1]
    assert (last.label, last.person, last.kind) == ("as-found", "B. Tester", "image/jpeg")
    phone.goto(bench.link + "runs/1")
    assert (
        phone.locator("form.keep input[name=person]").input_value() == "B. Tester"
    )  # remembered on the telephone
    figure.get_by_text("Take back").click()
    figure.get_by_label("Who").fill("A. Tester")
    figure.get_by_role("button", name="Take attachment").click()
    figure.wait_for(state="detached")
    assert last not in stored(bench, attachments)


def test_what_is_half_written_survives_an_arrival(bench, browse):
    page = browse()
    page.goto(bench.link + "configurations")
    page.get_by_text("live", exact=True).wait_for()
    page.get_by_label("Note").fill("half written")
    page.locator("#attached summary").first.click()
    page.locator("#attached input[name=person]").first.fill("C.")
    page.locator("#attached input[name=person]").first.focus()
    with open_store(bench.path) as store:
        store.take(records.snapshot(60, "zero-ws", memory={"conventional_kb": 512}), "line")
    page.locator("#doubts", has_text="do not agree").wait_for()
    assert page.get_by_label("Note").input_value() == "half written"
    assert page.locator("#attached input[name=person]").first.input_value() == "C."


def test_a_failure_is_one_touch_and_the_plan_goes_on(bench, browse):
    page = browse(viewport={"width": 820, "height": 1180}, has_touch=True)
    page.goto(bench.link)
    step = page.locator(".step")
    assert step.inner_text().startswith("Boot 5 of 6, zero-ws: Switch off")
    assert "unwatched" in page.locator(".cautions").inner_text()
    page.get_by_role("button", name="Does not start").tap()
    page.locator(".noted", has_text="zero-ws: does not start").wait_for()
    assert "Failed" in page.locator(".noted").inner_text()
    assert "All boots of the plan are there" in step.inner_text()
    assert [each.what for each in stored(bench, lambda store: notes(store, "desk-486"))] == [
        "remark",
        "failure",
    ]
    page.locator(".noted li", has_text="does not start").get_by_role("button").tap()
    page.locator(".step", has_text="Boot 5 of 6").wait_for()


def test_a_picture_is_shown_point_for_point(bench, browse):
    page = browse()
    page.goto(bench.link + "runs/13")
    taken = page.locator("img.taken")
    size = """each => new Promise(done => { each.loading = 'eager';
      each.decode().then(() => done([each.naturalWidth, each.naturalHeight])); })"""
    assert taken.evaluate(size) == [320, 200]
    points = """each => { const c = document.createElement('canvas'); c.width = 320; c.height = 200;
      const p = c.getContext('2d'); p.drawImage(each, 0, 0);
      return [[0, 0], [160, 80], [0, 199]].map(([x, y]) => [...p.getImageData(x, y, 1, 1).data].slice(0, 3)); }"""
    assert taken.evaluate(points) == [[0, 0, 170], [255, 255, 85], [170, 0, 0]]


@pytest.mark.parametrize("width", [390, 820, 1280])
@pytest.mark.parametrize("name", ["now", "far", "screen", "picture", "typing", "configurations"])
def test_no_new_view_scrolls_sideways(bench, browse, name, width):
    page = browse(viewport={"width": width, "height": 844})
    assert page.goto(bench.link.rstrip("/") + VIEWS[name].format(hold=bench.hold)).status == 200
    assert page.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize(
    "name", ["now", "far", "run", "screen", "picture", "held", "typing", "configurations"]
)
def test_every_view_with_something_to_do_is_usable_without_seeing_it(bench, browse, axe, name, scheme):
    page = browse(color_scheme=scheme)
    page.goto(bench.link.rstrip("/") + VIEWS[name].format(hold=bench.hold))
    assert flaws(page, axe) == []
    if name == "typing":
        for label in ("The number", "The same once more"):
            page.get_by_label(label).fill("762")
        page.get_by_label("Who types it").fill("A. Tester")
        browse.expected.append(NOT_KEPT)
        page.get_by_role("button", name="Keep it").click()
        page.get_by_role("alert").wait_for()
        assert flaws(page, axe) == []


def test_what_persons_and_machines_say_is_inert_in_every_view(tmp_path, browse):
    path = tmp_path / "bench.db"
    bad = "</option></textarea><script>window.hit = 1</script><img src=x onerror=window.hit=2>\x1b[2J"
    hold = fill(path)
    with open_store(path, schemas) as store:
        console = b"Replay: 1 frames in 2 ticks\r\nRate: <script>window.hit=3</script> frames/s\r\n\x1b[31m"
        start = {"label": bad, "program": bad[:60]}
        store.take(samples.run_record(2, 99, console=console, start=start), "line")
        attach(store, Entry(bad[:70], bad, text=bad, photograph=clean(board())), NOW)
        hold = max(row.number for row in find.held(store) if row.run is not None)
        run = find.runs(store)[-1].number
    with served(look(path)) as server:
        page = browse()
        for view in ("", "far", "held", f"held/{hold}", f"runs/{run}", "configurations", "findings"):
            page.goto(server.link + view)
            assert page.evaluate("window.hit") is None
            assert page.locator("script").count() == 1
            assert page.locator("img[onerror]").count() == 0
            assert "\x1b" not in page.content()


@pytest.mark.parametrize("size", [(820, 1180), (1180, 820), (1280, 900), (390, 844)])
def test_across_the_room_all_three_things_are_there_at_once(tmp_path, browse, size):
    fill(tmp_path / "bench.db")
    with served(look(tmp_path / "bench.db", watching=True)) as server:
        page = browse(viewport=dict(zip(("width", "height"), size, strict=True)))
        page.goto(server.link + "far")
        places = page.evaluate(  # in one go: a live view may be exchanged at any time
            """parts => parts.map(part => { const place = document.querySelector(part).getBoundingClientRect();
            return [place.left, place.top, place.right, place.bottom]; })""",
            [".far-line .state", ".far-step", ".far-care", ".far-power b"],
        )
        for left, top, right, bottom in places:
            assert 0 <= left < right <= size[0] and 0 <= top < bottom <= size[1]
        page.close()


def test_from_three_metres(bench, browse):
    """Letters on a tablet of 10.9 inches (2360 × 1640 points at 264 an inch, two for one of the page's), from 3 m.

    ISO 9241-303 asks for capitals of at least 16 minutes of arc (from memory); the eye's limit is 5 (20/20: a letter
    of 5 minutes of arc). Capitals are about 0.7 of the type's size.
    """
    page = browse(viewport={"width": 820, "height": 1180})
    page.goto(bench.link + "far")
    millimetre = 25.4 / 132

    def minutes(selector):
        size = page.locator(selector).first.evaluate("each => parseFloat(getComputedStyle(each).fontSize)")
        return 0.7 * size * millimetre / 3000 * 3437.75

    assert minutes(".far-line .state") >= 16
    assert minutes(".far-step") >= 10
    assert page.evaluate("document.documentElement.scrollHeight") <= 1180, "not all of it fits at once"


def test_the_sample_photograph_is_one():
    assert board().startswith(b"\xff\xd8")


def test_findings_say_what_it_is_worth_for_its_price(bench, browse):
    page = browse()
    for name in ("findings", "finding"):
        page.goto(bench.link.rstrip("/") + VIEWS[name])
        worth = page.locator("#worth")
        assert worth.locator(".big").inner_text() == "10 EUR"
        assert "zero-ws" in worth.locator(".sentence").first.inner_text()
        assert "by its own margins" in worth.inner_text()
    page.goto(bench.link + "findings?base=zero-ws&other=as-found")
    page.locator("#judged").wait_for()
    assert page.locator("#worth .big").count() == 0  # what was found has no price


@pytest.mark.parametrize("command", ["page", "watch"])
def test_the_commands_show_the_study_and_take_a_failure(tmp_path, browse, command):
    path, study = tmp_path / "bench.db", tmp_path / "s.toml"
    fill(path)
    study.write_text(STUDY, encoding="utf-8")
    way = {"page": ["page"], "watch": ["watch", "--folder", str(tmp_path), "--page"]}[command]
    with running(*way, "127.0.0.1:0", "--store", str(path), "--study", str(study)) as (_, port):
        page = browse()
        page.goto(f"http://127.0.0.1:{port}/")
        assert "Boot 5 of 6" in page.locator(".step").inner_text()
        with page.expect_navigation():
            page.get_by_role("button", name="Crashes").click()
        page.locator(".noted", has_text="zero-ws: crashes").wait_for()
        study.write_text(
            STUDY.replace("boots = 3", "boots = 0"), encoding="utf-8"
        )  # faulty while it is served
        page.reload()
        page.locator("#next .tone-held", has_text="s.toml").wait_for()
        page.close()
