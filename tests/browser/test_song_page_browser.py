"""The page to send, opened as a file on a telephone and on a dark screen: seen, pressed, heard."""

import re
import shutil

import pytest
from accessible import violations_by_width_and_colour
from lab import ROOT, wait_for

import arrange as ar
from arrange.__main__ import main

REASON = "the whistle has the tune <there>"


@pytest.fixture(scope="module")
def sent(tmp_path_factory):
    """Write the page by the command, of a song with a decision."""
    folder = tmp_path_factory.mktemp("sent")
    song = shutil.copy(ROOT / "datasets" / "tarrow-weir.txt", folder / "weir.txt")
    decision = ar.Decision("Guitar 2: softer", REASON, "Turn", parts=["Guitar 2"])
    ar.record_decision(ar.decisions_path(song), decision)
    assert main(["page", str(song), "-o", str(folder / "weir.html")]) == 0
    return folder / "weir.html"


@pytest.fixture
def opened(browser, sent):
    """Open it; nothing else is asked for, and nothing complains."""
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, color_scheme="dark", reduced_motion="reduce"
    )
    page, found = context.new_page(), []
    page.on("console", lambda message: found.append(message.text))
    page.on("pageerror", lambda error: found.append(str(error)))
    page.on("request", lambda request: found.append(request.url))
    page.goto(sent.as_uri())
    yield page
    assert [each for each in found if not each.startswith(sent.as_uri())] == []
    context.close()


def in_sight(place):
    """Return whether an element begins within the window."""
    return place.evaluate(
        """each => { const {left, top, bottom} = each.getBoundingClientRect();
        return left >= 0 && left < innerWidth - 100 && top >= 0 && bottom <= innerHeight }"""
    )


def test_a_song_that_was_sent(opened, sent):
    """On a telephone: sections, findings, hands, sound and decisions, without a server."""
    page = opened
    song = ar.read(ROOT / "datasets" / "tarrow-weir.txt")
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    assert str(sent.parent) not in page.content()  # nobody's folders are sent along
    assert f"Turn, Guitar 2: softer. {REASON}." in page.locator(".decisions").inner_text()

    links = page.locator("nav a")
    assert links.count() == len(song.sections)
    paper = "getComputedStyle(document.body).backgroundColor"
    assert page.evaluate(paper) == "rgb(17, 17, 17)"
    page.emulate_media(color_scheme="light")
    wait_for(lambda: page.evaluate(paper) == "rgb(255, 255, 255)")

    label, first = song.sections[["section", "first_measure"]].iloc[2]
    links.filter(has_text=label).first.click()
    section = page.locator("main > section", has=page.locator(f"#bar{first}"))
    assert in_sight(section.locator("h2"))
    assert section.locator("svg.arrange-neck").count() == 2
    sizes = section.locator("svg.arrange-picture text").evaluate_all(
        """all => all.map(each => parseFloat(getComputedStyle(each).fontSize)
        * each.ownerSVGElement.getScreenCTM().a)"""
    )
    assert min(sizes) >= 12  # pixels

    finding = page.locator(".findings a").last
    assert finding.bounding_box()["height"] >= 24  # pixels (WCAG 2.2, 2.5.8)
    assert re.match(r"bar \d+: .*", finding.inner_text())
    bar = page.locator(finding.get_attribute("href"))
    before = bar.locator("rect").evaluate("each => getComputedStyle(each).fill")
    finding.click()
    assert in_sight(bar)
    assert bar.locator("rect").evaluate("each => getComputedStyle(each).fill") != before

    strip = section.locator(".player")
    strip.get_by_text("In time").click()
    page.evaluate("playing.begins -= playing.passage.bars[2].at + playing.passage.before")
    sounding = page.locator(".bar.is-sounding")
    now = "document.querySelector('.bar.is-sounding')?.id"
    wait_for(lambda: page.evaluate(now) == f"bar{first + 2}")
    strip.scroll_into_view_if_needed()
    assert in_sight(sounding)  # the bars have moved along
    assert strip.locator(".place").inner_text() == f"bar {first + 2}"
    page.keyboard.press("Escape")
    assert sounding.count() == 0
    page.locator("details").first.locator("summary").click()
    assert violations_by_width_and_colour(page) == []
