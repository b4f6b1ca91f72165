"""The live view on a page, as a user sees and touches it."""

from playwright.sync_api import expect


class Live:
    """The live view as a user sees and touches it.

    Parameters
    ----------
    page : playwright's page
    """

    def __init__(self, page):
        self.page = page
        self.view = page.locator(".arrange-live:not(.arrange-saved)")
        self.picture = self.view.locator(".arrange-pane")
        expect(self.picture).to_be_visible(timeout=60_000)

    def slider(self, name):
        """Return a slider's handle, which reacts to the arrow keys."""
        row = self.view.locator(".widget-inline-hbox", has=self.page.get_by_text(name, exact=True))
        return row.locator(".noUi-handle")

    def press(self, name):
        self.view.get_by_role("button", name=name, exact=True).click()

    def choose(self, name, value):
        self.view.get_by_label(name, exact=True).select_option(value)

    def shows(self, text):
        expect(self.picture).to_contain_text(text)

    def drag(self, name, share):
        """Drag a slider's handle by a share of its track, in small steps."""
        handle = self.slider(name)
        handle.scroll_into_view_if_needed()
        box = handle.bounding_box()
        base = handle.locator("xpath=ancestor::*[contains(@class, 'noUi-base')]").bounding_box()
        x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
        mouse = self.page.mouse
        mouse.move(x, y)
        mouse.down()
        mouse.move(x + share * base["width"], y, steps=12)
        mouse.up()
