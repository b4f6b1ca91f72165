"""The report in a real browser: what is folded on the screen, and what is printed."""

import pandas as pd
import pypdf
from accessible import violations_by_width_and_colour
from lab import ROOT

import arrange as ar


def test_words_are_folded_and_printed(browser, tmp_path):
    """How to play a part is seen once it is unfolded; on paper it is there without that."""
    study = ar.Study(ar.read(ROOT / "datasets/low-water.txt"))
    path = study.write(tmp_path / "study")
    page = browser.new_page()
    page.goto(path.as_uri())
    words = page.locator(".words").first
    own = ar.explain_part(study.song, "Guitar 1").sections[0].paragraph
    assert own not in page.locator("body").inner_text()
    page.pdf(path=tmp_path / "report.pdf")
    printed = "".join(
        each.extract_text() for each in pypdf.PdfReader(tmp_path / "report.pdf").pages
    )
    assert "".join(own.split()) in "".join(printed.split())
    words.locator("summary").click()
    assert own in page.locator("body").inner_text()
    assert violations_by_width_and_colour(page) == []
    page.set_viewport_size({"width": 390, "height": 800})  # a telephone
    rights = page.locator(".texts td").evaluate_all(
        "all => all.map(each => each.getBoundingClientRect().right)"
    )
    assert 0 < max(rights) <= 390  # what there is to hear is seen without moving sideways
    page.close()


def test_headers_sort_a_table(browser, tmp_path):
    """By mouse and keys: numbers by value, notes by pitch, what is missing first; then back."""
    table = pd.DataFrame(
        {"pitch": [60.0, 9.0, None], "share": [0.5, 10.0, 9.0], "name": ["b", "", "a2"]}
    )
    path = tmp_path / "table.html"
    head = '<!DOCTYPE html><html lang="en"><title>A table</title>'
    path.write_text(f"{head}{ar.show(table).html}", encoding="utf-8")
    page = browser.new_page()
    page.goto(path.as_uri())

    def column(number):
        return page.locator(f"tbody td:nth-child({number})").all_inner_texts()

    heads = {name: page.get_by_role("button", name=name) for name in table}
    heads["pitch"].click()
    assert column(1) == ["", "A-1", "C4"]
    heads["share"].press("Enter")
    assert column(2) == ["0.5", "9.0", "10.0"]
    heads["share"].press("Space")
    assert column(2) == ["10.0", "9.0", "0.5"]
    assert page.locator("th[aria-sort]").get_attribute("aria-sort") == "descending"
    assert violations_by_width_and_colour(page) == []
    heads["name"].click()
    assert column(3) == ["", "a2", "b"]
    page.close()
