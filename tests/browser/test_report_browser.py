"""The report in a real browser: what is folded on the screen, and what is printed."""

import pypdf
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
    page.close()
