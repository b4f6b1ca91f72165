"""A part sheet that plays, in a real browser: what is heard, what is marked, and by which keys."""

import io

import matplotlib.image
import numpy as np
import pypdf
import pytest
from lab import ROOT

import arrange as ar
from arrange.formats.chart import read_chart
from arrange.handouts import page_picture
from arrange.handouts.band import band_sheet
from arrange.handouts.band_pages import band_html
from arrange.handouts.sheet_sound import song_sound

RATE = 44_100
SECTION = "Intro"

# Each note of a section alone, as the page's own band strikes it: from its first sample on.
RENDERED = """async ([label, isSlow, rate]) => {
    const passage = passageOf(label, isSlow), heard = [];
    for (const note of passage.notes) {
        const samples = Math.ceil((note.at + 0.5) * rate);
        const offline = new OfflineAudioContext(2, samples, rate);
        makeBand(offline, bufferMaker(offline), passage.slower).strike(note, note.at);
        const wave = (await offline.startRendering()).getChannelData(0);
        const first = wave.findIndex(each => Math.abs(each) > 1e-7);
        heard.push([SONG.parts[SONG.buses[note.bus].part].part, first / rate,
                    [...wave.slice(first, first + 0.3 * rate)]]);
    }
    return heard }"""

# What goes to the loudspeaker can be looked at.
LISTENED = """const connect = AudioNode.prototype.connect;
AudioNode.prototype.connect = function (target, ...more) {
    const context = this.context;
    if (target === context.destination && context instanceof AudioContext) {
        window.heard = new AnalyserNode(context, {fftSize: 16384});
        connect.call(this, window.heard);
    }
    return connect.call(this, target, ...more) }"""
LOUDEST = """() => { const wave = new Float32Array(16384);
    window.heard.getFloatTimeDomainData(wave); return Math.max(...wave.map(Math.abs)) }"""
PRESSED = """() => [...document.querySelectorAll('[aria-pressed=true]')].map(
    each => each.getAttribute('aria-label')).filter(each => !each.startsWith('With'))"""


@pytest.fixture(scope="module")
def song():
    return ar.read(ROOT / "datasets/low-water.txt")


@pytest.fixture(scope="module")
def sheets(song, tmp_path_factory):
    """PDF and HTML of a part, then of the band."""
    folder = tmp_path_factory.mktemp("sheet")
    layout = ar.Layout(style="shapes")
    return ar.write_handout(song, folder, player="Guitar 2", layout=layout)


@pytest.fixture(scope="module")
def sheet(sheets):
    return sheets[1]


@pytest.fixture
def page(browser, sheet):
    page = browser.new_page(viewport={"width": 390, "height": 844}, reduced_motion="reduce")
    found = []
    page.on("console", lambda message: found.append(message.text))
    page.on("pageerror", lambda error: found.append(str(error)))
    page.on("request", lambda request: found.append(request.url))
    page.add_init_script(LISTENED)
    page.goto(sheet.as_uri())
    yield page
    assert found == [sheet.as_uri()]  # no error, and nothing else is fetched
    page.close()


def cents(wave, hertz):
    """Return how far a tone's first partial lies from a frequency: by how its phase runs away."""
    size, hop = round(0.14 * RATE), round(0.05 * RATE)
    turns = np.exp(-2j * np.pi * hertz * np.arange(len(wave)) / RATE) * wave
    early, late = (np.sum(turns[at : at + size] * np.hanning(size)) for at in (2_000, 2_000 + hop))
    return 1200 * np.log2(1 + np.angle(late / early) / (2 * np.pi * hop / RATE) / hertz)


@pytest.mark.sampled
@pytest.mark.parametrize("is_slow", [False, True])
def test_what_is_heard_is_the_notes_table(page, song, is_slow):
    """Attacks to a millisecond, pitches to five cents (A4 is 440 Hz, ISO 16:1975)."""
    heard = page.evaluate(RENDERED, [SECTION, is_slow, RATE])
    notes = song.notes[(song.notes["section"] == SECTION) & ~song.notes["grace"]]
    tempo = song.measures["tempo"].iloc[0] * (0.6 if is_slow else 1)
    assert song.measures["tempo"][:4].nunique() == 1
    assert len(heard) == len(notes) > 20
    for part, own in notes.groupby("part"):
        rows = zip(own["onset"] * 60 / tempo, 440 * 2 ** ((own["pitch"] - 69) / 12), strict=True)
        waiting = [(at, wave) for label, at, wave in heard if label == part]
        for onset, hertz in rows:
            near = [each for each in waiting if abs(each[0] - onset) < 1e-3]
            fits = [each for each in near if abs(cents(np.array(each[1]), hertz)) < 5]
            assert fits, (part, onset, hertz)
            waiting.remove(fits[0])
        assert not waiting


def test_one_thing_plays_at_a_time(page):
    strips = page.locator(".player")
    strips.nth(1).get_by_text("Slow").click()
    assert "count-in" in strips.nth(1).locator(".place").inner_text()
    strips.nth(2).get_by_text("In time").click()
    assert page.evaluate(PRESSED) == ["In time: Verse 1"]
    assert strips.nth(1).locator(".place").inner_text() == ""
    page.wait_for_function("document.querySelectorAll('.is-sounding').length > 1")
    assert strips.nth(2).locator(".place").inner_text() == "bar 5"
    assert page.locator("section.is-sounding h2 .name").inner_text().startswith("Verse 1, 2")
    assert page.locator("[data-bars].is-sounding").get_attribute("data-bars").startswith("5 ")
    assert 0.01 < page.evaluate(LOUDEST) <= 0.5
    strips.nth(5).get_by_text("Stop").click()
    assert page.evaluate(PRESSED) == []
    assert page.locator(".is-sounding").count() == 0
    page.wait_for_timeout(700)
    assert page.evaluate(LOUDEST) < 1e-4


def test_all_is_done_by_keys(page):
    """Tab, Enter and Escape; the focus is seen, and each button has a name of its own."""
    page.keyboard.press("Tab")
    while page.evaluate("document.activeElement.textContent") != "Alone":
        page.keyboard.press("Tab")
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") != "none"
    page.keyboard.press("Enter")
    assert set(page.evaluate(PRESSED)) >= {"Alone: the whole song", "Alone: Verse 1"}
    page.keyboard.press("Shift+Tab")
    page.keyboard.press("Shift+Tab")
    page.keyboard.press("Space")
    assert "Slow: the whole song" in page.evaluate(PRESSED)
    page.keyboard.press("Escape")
    assert "Slow: the whole song" not in page.evaluate(PRESSED)
    names = page.evaluate("[...document.querySelectorAll('button')].map(each => each.ariaLabel)")
    assert len(set(names)) == len(names) > 50


def test_a_section_is_repeated_until_that_is_turned_off(page):
    """The clock of the page is moved on by moving the time at which the music began."""
    strip = page.locator(".player").nth(1)
    strip.get_by_text("Repeat").click()
    strip.get_by_text("In time").click()
    length = page.evaluate("playing.passage.seconds")
    page.evaluate("playing.begins -= 1.5 * playing.passage.seconds + playing.passage.before")
    page.wait_for_function("document.querySelector('section .place').textContent == 'bar 3'")
    strip.get_by_text("Repeat").click()
    page.evaluate("seconds => { playing.begins -= seconds }", length)
    page.wait_for_function("playing === null")
    assert strip.locator(".place").inner_text() == ""


def test_sections_printed_as_one_are_chosen(browser, sheet):
    """The bar that sounds is marked where the first of them is printed."""
    assert '["Verse 1", "Verse 2", "Instrumental"]' in sheet.read_text(encoding="utf-8")
    page = browser.new_page()
    page.goto(sheet.as_uri())
    strip = page.locator("section .player").nth(1)
    strip.locator("select").select_option("Verse 2")
    strip.get_by_text("In time").click()
    page.wait_for_function("document.querySelectorAll('.is-sounding').length > 1")
    assert strip.locator(".place").inner_text() == "bar 13"
    assert page.locator("[data-bars].is-sounding").get_attribute("data-bars").startswith("5 ")
    page.close()


def cells(path, page):
    """Return how dark each square of 10 mm is, 0 to 1."""
    picture = matplotlib.image.imread(io.BytesIO(page_picture(path, page, 100)), format="png")[
        ..., 0
    ]
    high, wide = (size // 40 for size in picture.shape)
    return 1 - picture[: 40 * high, : 40 * wide].reshape(high, 40, wide, 40).mean(axis=(1, 3))


def test_the_browser_prints_the_pages_of_the_pdf(browser, sheets, tmp_path):
    """Page by page and place by place; of what is on the screen, nothing."""
    for pdf, html in zip(sheets[::2], sheets[1::2], strict=True):
        page = browser.new_page(java_script_enabled="band" not in html.name)
        page.goto(html.as_uri())
        printed = tmp_path / pdf.name
        page.pdf(path=printed, prefer_css_page_size=True)
        page.close()
        wanted = pypdf.PdfReader(pdf).pages
        assert len(pypdf.PdfReader(printed).pages) == len(wanted) == 2
        for number in (1, 2):
            own, other = cells(printed, number), cells(pdf, number)
            assert other.max() > 0.2
            assert np.abs(own - other).max() < 0.1


def test_the_band_sheet_plays_too(browser, tmp_path):
    """A bar that is printed once and played twice is marked each time; nobody is heard alone."""
    song = read_chart(
        b"part: Pipes\nsection: Jig\nchords | A | D | A | D |\nPipes | A4 | D5 | A4 | D5 |\n"
        b"section: Reel\nchords | G | D |\nPipes | G4 | D4 |\n"
    )
    path = tmp_path / "band.html"
    path.write_text(band_html(band_sheet(song, None, {}), song_sound(song), [], "A4"))
    page = browser.new_page()
    page.goto(path.as_uri())
    assert page.locator(".player").count() == 3  # the whole song, and each section once
    assert page.get_by_text("Alone", exact=True).count() == 0
    page.locator("section .player").nth(0).get_by_text("In time").click()
    for bar in (2, 4):
        page.evaluate(f"playing.begins = context.currentTime - playing.passage.bars[{bar - 1}].at")
        page.wait_for_function(
            f"document.querySelector('section .place').textContent == 'bar {bar}'"
        )
        assert page.locator(".bar.is-sounding").inner_text().strip() == "D"
    page.close()


def test_pages_without_script_or_sound_show_no_buttons(browser, sheet):
    for script, has_sound in ((False, True), (True, False)):
        page = browser.new_context(java_script_enabled=script).new_page()
        if not has_sound:
            page.add_init_script("delete window.AudioContext")
        page.goto(sheet.as_uri())
        assert page.locator(".player").count() == 0
        page.context.close()


def test_nothing_reaches_over_the_edge_of_a_phone(page):
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    heights = page.evaluate("[...document.querySelectorAll('button')].map(e => e.offsetHeight)")
    assert min(heights) >= 44  # pixels, as much as a finger needs (WCAG 2.2, 2.5.5)
