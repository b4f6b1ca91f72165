"""What axe-core finds on an open page, against the rules of WCAG 2.2, levels A and AA."""

from axe_playwright_python.base import AXE_SCRIPT

_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
# Rules and options: https://github.com/dequelabs/axe-core/blob/develop/doc/API.md
_RUN = """([place, tags]) => axe.run(place, {runOnly: tags, resultTypes: ['violations']}).then(
    found => found.violations.flatMap(rule => rule.nodes.map(
        node => `${rule.id}: ${node.html.slice(0, 200)}: ${node.failureSummary}`)))"""


def violations(page, place="html"):
    """Return what axe-core finds within a place, a CSS selector, as the page is shown now."""
    _start(page, place)
    return page.evaluate("looked")


def _start(page, place):
    """Let axe-core look at a page, which goes on while other pages do something."""
    if page.evaluate("typeof axe") == "undefined":
        page.evaluate(AXE_SCRIPT)
    page.evaluate(f"args => {{ window.looked = ({_RUN})(args) }}", [place, _TAGS])


def violations_by_width_and_colour(page):
    """Return the same for a page of its own, on a laptop in light and on a phone in dark.

    The phone loads the page anew; both are looked at at once, on a processor each.
    """
    phone = page.context.browser.new_page()
    phone.goto(page.url)
    both = ((page, 1280, "light"), (phone, 390, "dark"))
    for each, width, scheme in both:
        each.set_viewport_size({"width": width, "height": 900})
        each.emulate_media(color_scheme=scheme)
        _start(each, "html")
    found = [one for each, _, _ in both for one in each.evaluate("looked")]
    phone.close()
    return found
