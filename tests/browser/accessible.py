"""What axe-core finds on an open page, against the rules of WCAG 2.2, levels A and AA."""

from axe_playwright_python.base import AXE_SCRIPT

_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
# Rules and options: https://github.com/dequelabs/axe-core/blob/develop/doc/API.md
_RUN = """([place, tags]) => axe.run(place, {runOnly: tags, resultTypes: ['violations']}).then(
    found => found.violations.flatMap(rule => rule.nodes.map(
        node => `${rule.id}: ${node.html.slice(0, 200)}: ${node.failureSummary}`)))"""


def violations(page, place="html"):
    """Return what axe-core finds within a place, a CSS selector, as the page is shown now."""
    if page.evaluate("typeof axe") == "undefined":
        page.evaluate(AXE_SCRIPT)
    return page.evaluate(_RUN, [place, _TAGS])


def violations_by_width_and_colour(page):
    """Return the same for a page of its own, on a laptop in light and on a phone in dark."""
    found = []
    for width, scheme in ((1280, "light"), (390, "dark")):
        page.set_viewport_size({"width": width, "height": 900})
        page.emulate_media(color_scheme=scheme)
        found += violations(page)
    return found
