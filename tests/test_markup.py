"""Text of a song is shown as it is: in HTML, SVG, Markdown and print.

Read back by Python's own HTML parser, by nbconvert's Markdown (which a page without code is made
with) and by pypdf. In a browser: ``tests/browser/test_hostile_browser.py``.
"""

import io
from html.parser import HTMLParser
from xml.etree import ElementTree

import nbformat
import pypdf
import pytest
from hostile import (
    HOSTILE,
    TITLE,
    hostile_exercises,
    hostile_notebook,
    hostile_song,
    with_chord_symbols,
    write_hostile,
)
from hypothesis import given
from hypothesis import strategies as st
from nbconvert.filters.markdown_mistune import IPythonRenderer, MarkdownWithMath

import arrange as ar
from arrange.exercises.papers import print_paper
from arrange.handouts import page_picture
from arrange.live.view_notebook import write_page
from arrange.text.markup import escape_html, escape_markdown


class Shown(HTMLParser):
    """Collect the tags of a page, and its text."""

    def __init__(self, page):
        super().__init__()
        self.tags, self.words = set(), []
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, _):
        self.tags.add(tag)

    def handle_data(self, data):
        self.words.append(data)

    @property
    def text(self):
        return " ".join("".join(self.words).split())


def rendered(markdown):
    """Return Markdown as a page without code shows it."""
    return Shown(MarkdownWithMath(renderer=IPythonRenderer(escape=False)).render(markdown))


@pytest.mark.parametrize(
    "text", [*HOSTILE, TITLE, "1. a", "- b", "    c", "d\n\n## e", "=", "@@0@@"]
)
def test_markdown_shows_text_as_it_is(text):
    """The text becomes a paragraph and elements that protect formulas (CommonMark, section 2.4)."""
    shown = rendered(escape_markdown(text))
    assert shown.tags <= {"p", "span"}
    assert shown.text == " ".join(text.split())
    assert not {"$", "\\("} & {word for word in shown.words if len(word) > 1}


@given(st.text(alphabet=st.characters(max_codepoint=0x2FF, exclude_categories=["Cc", "Cs"])))
def test_markdown_shows_any_text_as_it_is(text):
    shown = rendered(escape_markdown(text))
    assert shown.text == " ".join(text.split())
    assert shown.tags <= {"p", "span"}


@given(st.text(alphabet=st.characters(exclude_characters="\r", exclude_categories=["Cs"])))
def test_xml_reads_any_text_back(text):
    """The text stands in an SVG element; what XML cannot hold is replaced (XML 1.0, section 2.2,
    Char).
    """

    def is_char(sign):
        return (
            sign in "\t\n"
            or 0x20 <= ord(sign) <= 0xD7FF
            or 0xE000 <= ord(sign) <= 0xFFFD
            or (ord(sign) >= 0x10000)
        )

    read = ElementTree.fromstring(f"<text>{escape_html(text)}</text>").text or ""
    assert read == "".join(sign if is_char(sign) else "\ufffd" for sign in text)


def test_a_title_is_no_markup_on_the_page_without_code(tmp_path):
    page = nbformat.read(write_page(write_hostile(tmp_path), tmp_path / "page.ipynb"), 4)
    shown = rendered(page.cells[0].source)
    assert shown.tags == {"h1", "p", "span", "a"}  # a: nbconvert's anchor beside a heading
    assert TITLE in shown.text


def test_exercises_are_no_markup_in_a_notebook():
    """Titles, missing things, and all that an exercise shows are text, for each of the texts."""
    cells = hostile_notebook()["cells"]
    cells = ["".join(each["source"]) for each in cells if each["cell_type"] == "markdown"]
    shown = [rendered(cell) for cell in cells]
    tags = set().union(*(each.tags for each in shown))
    assert tags == {"h1", "h2", "p", "span", "a", "ul", "li", "em", "audio"}
    assert TITLE in shown[0].text
    assert TITLE in shown[1].text
    for text, exercise in zip(HOSTILE, hostile_exercises(), strict=True):
        form = exercise.answer_form
        for button in form.buttons:
            button.click()
        printed = Shown(exercise._repr_html_())
        task, hint, reply = (
            Shown(each.value) for each in (form.view.children[1], form.hinted, form.replied)
        )
        assert printed.text.count(text) >= 3  # the question, a choice, what to write
        assert text in task.text
        assert text in hint.text
        assert TITLE in reply.text
        seen = printed.tags | task.tags | hint.tags | reply.tags
        assert seen <= {"div", "p", "span", "strong", "ul", "ol", "li", "code"}


def printed(pdf):
    """Return the text of a PDF file without blanks, since lines break at them, visible or not."""
    text = "".join(page.extract_text() for page in pypdf.PdfReader(pdf).pages)
    return "".join(text.replace("\u200b", "").split())


@pytest.mark.long
def test_print_shows_text_as_it_is(tmp_path):
    """Sheets as PDF and HTML, chord symbols, reasons and workshop papers show the text as it is."""
    made = with_chord_symbols(hostile_song())
    log = ar.decisions_path(write_hostile(tmp_path))
    files = ar.write_handout(made, tmp_path, player=HOSTILE[0], decisions=ar.read_decisions(log))
    band = next(path for path in files if "band" in path.name and path.suffix == ".pdf")
    wanted = "".join(TITLE.split())
    assert wanted in printed(band)
    for text in HOSTILE:
        assert printed(band).count("".join(text.split())[:60]) >= 2
    for path in files:
        if path.suffix == ".html":
            page = path.read_text(encoding="utf-8")
            assert TITLE in Shown(page).text
            assert not Shown(page).tags & {"img", "iframe", "mark"}
            assert page.count("<script") == 2  # a sheet plays: its sound and its script
    paper = print_paper(TITLE, "Exercises", [{"kind": "text", "text": TITLE}])
    assert printed(io.BytesIO(paper)).count(wanted) >= 2


def test_a_page_picture_of_any_file_name(tmp_path):
    """The picture is drawn for names that typst would read as code or an escape."""
    name = '#eval("1") $ <mark> "quoted" \u0007.pdf'
    (tmp_path / name).write_bytes(print_paper("One", "Two", []))
    assert page_picture(tmp_path / name).startswith(b"\x89PNG")
